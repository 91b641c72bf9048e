import pytest

import dutylife.coding.lexicon as lexicon_module
from dutylife.settings import settings_from


@pytest.fixture
def said(code, events_of):
    """What a work text of a repair says of each component."""

    def read(text: str, **coding) -> dict[str, tuple[str, str, str]]:
        return events_of(code({"work_done": text, "ticket_kind": "repair"}, **coding))

    return read


def test_verbs_bind_within_their_clause(said):
    found = said("cap open circuit, renewed; plug checked ok")
    assert found == {
        "ignition cap": ("replace", "failure", "failed"),
        "spark plug": ("inspect", "opportunistic", "ok"),
    }


@pytest.mark.parametrize(
    ("text", "activities"),
    [
        ("renewed plug, cap and air filter", {"spark plug": "replace", "ignition cap": "replace",
                                              "air filter": "replace"}),
        ("plug, cap and air filter replaced", {"spark plug": "replace", "ignition cap": "replace",
                                               "air filter": "replace"}),
        ("replaced plug and cleaned carb", {"spark plug": "replace", "carburetor": "clean"}),
        ("new air filter, cap 10.2k, ok", {"air filter": "replace", "ignition cap": "inspect"}),
        ("fitted new h.t. cap. adjusted tappets", {"ignition cap": "replace",
                                                   "valve clearance": "adjust"}),
        ("air filter pre-cleaner washed", {"air filter pre-cleaner": "clean"}),
        ("spark plug cap c/o", {"ignition cap": "replace"}),
        ("fuel hose not replaced", {"fuel hose and clamps": "inspect"}),
        ("carbureter stripped and claened", {"carburetor": "clean"}),
        ("plug gapped + carb cleaned", {"spark plug": "adjust", "carburetor": "clean"}),
    ],
)  # fmt: skip
def test_activities(said, text, activities):
    assert {c: a for c, (a, _, _) in said(text).items()} == activities


@pytest.mark.parametrize(
    ("text", "finding"),
    [
        ("cap renewed, tested ok", "untested"),  # how it is now, not how it was found
        ("cap ok but renewed", "ok"),
        ("cap not cracked, renewed", "ok"),
        ("cap cracked, renewed, ran up ok", "failed"),
        ("cap out of spec, renewed", "over limit"),
        ("cap worn, renewed", "worn"),
        ("cap measured 14.0 kohm, renewed", "over limit"),
        ("cap measured 10.4 kohm, renewed", "untested"),
    ],
)
def test_findings(said, text, finding):
    assert said(text)["ignition cap"][2] == finding


def test_the_longest_phrase_wins_and_modes_use_the_components_own_word(code):
    events = code({"work_done": "carb gummed up, cleaned; belt guard loose; air filter choked"})
    modes = events["maintenance_events"].set_index("component")["failure_mode"].astype(str)
    assert modes.to_dict() == {"carburetor": "varnish or gum", "air filter": "plugged"}


def test_words_of_other_things_are_never_corrected_to_components(code):
    coded = code({"work_done": "house cleared, started, smart section required"})
    assert coded["maintenance_events"].empty


def test_slips_are_counted(code):
    coded = code({"work_done": "carbureter renewed"})
    told = coded["findings"].query("key == 'spelling'")
    assert told["message"].str.contains("1 misspelled word").all()
    assert "'carbureter' as 'carburetor'" in told["message"].iloc[0]


def test_a_star_matches_inside_a_glued_word(said):
    found = said("SHD0024Hoses leaking", components={"hose": {"words": ["*hose*"]}})
    assert found == {"hose": ("repair", "failure", "failed")}


def test_a_lexicon_file_adds_words(tmp_path):
    (tmp_path / "own.toml").write_text(
        '[activities]\nreplace = ["ersetzt"]\n[components]\n"ignition cap" = ["kerzenstecker"]\n'
    )
    settings = settings_from({"coding": {"lexicon": "own.toml"}}, folder=tmp_path)
    phrases = lexicon_module.build_lexicon(settings).phrases
    assert phrases[("kerzenstecker",)][0].value == "ignition cap"
    assert phrases[("ersetzt",)][0].value == "replace"


def test_a_lexicon_file_with_unknown_sections_is_refused(tmp_path):
    (tmp_path / "own.toml").write_text('[verbs]\nx = ["y"]\n[activities]\nmend = ["y"]\n')
    settings = settings_from({"coding": {"lexicon": "own.toml"}}, folder=tmp_path)
    with pytest.raises(lexicon_module.SettingsError, match="2 faults"):
        lexicon_module.build_lexicon(settings)
