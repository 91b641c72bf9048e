"""Each difficulty does what its sentence says: absent at 0, plain to see at 1."""

import pandas as pd
import pytest

from dutylife.errors import SettingsError
from dutylife.practice import (
    DIFFICULTIES,
    make_practice,
    simulate_fleet,
    without_difficulties,
)
from dutylife.practice.scenario import read_scenario
from dutylife.settings import read_settings

START = pd.Timestamp("1970-01-01")
# what each changes: the true lives, else the files of the export
IN_THE_TRUTH = {
    "late_start", "silent_leavers", "opportunistic_changes", "shotgun_repairs", "comebacks",
    "mixed_modes", "early_failure_batch", "duty_changes", "season", "lognormal_lives",
    "machine_spread", "customer_spread",
}  # fmt: skip


def events_of(fleet, reason):
    return fleet.events[(fleet.events["reason"] == reason) & ~fleet.events["is_comeback"]]


def in_order(lives):
    return lives.sort_values(["unit_id", "component", "life_number"], ignore_index=True)


def jobs_of(lines):
    return lines.drop_duplicates("Job")


def test_every_difficulty_says_what_none_and_full_strength_mean():
    assert len(DIFFICULTIES) == 25
    for sentence in DIFFICULTIES.values():
        assert sentence.startswith("0: ")
        assert "1: " in sentence or "above 0: " in sentence
    assert without_difficulties() == dict.fromkeys(DIFFICULTIES, 0.0)


@pytest.mark.parametrize("name", DIFFICULTIES)
def test_no_switch_does_nothing_and_each_touches_only_its_own(name, fleet_with, export_with):
    plain, hard = (in_order(fleet_with(n).lives) for n in ("", name))
    # a cleaned carburetor lives as a new one
    assert hard.equals(plain) == (name not in IN_THE_TRUTH)
    files = {n: p.read_bytes() for n, p in export_with(name).items() if n != "readme"}
    assert files != {n: p.read_bytes() for n, p in export_with().items() if n != "readme"}
    usual = read_scenario().difficulties[name]
    said = f"- {name} = 1. {DIFFICULTIES[name]}" in export_with(name)["readme"].read_text()
    assert said == (usual != 1.0)


@pytest.mark.parametrize("name", DIFFICULTIES)
def test_half_strength_lies_between(name, export_with):
    half = {n: p.read_bytes() for n, p in export_with(name, 0.5).items()}
    assert half != {n: p.read_bytes() for n, p in export_with(name).items()}
    assert half != {n: p.read_bytes() for n, p in export_with().items()}


def test_the_same_seed_gives_the_same_bytes_with_everything_on(tmp_path):
    all_on = dict.fromkeys(DIFFICULTIES, 1.0)
    one, two = (
        make_practice(tmp_path / n, n_units=12, n_years=2, seed=5, difficulties=all_on)
        for n in ("one", "two")
    )
    assert {"lines_again", "contracts"} <= set(one)
    for name, path in one.items():
        assert path.read_bytes() == two[name].read_bytes(), name


def test_names_missing_keep_the_scenarios_strength():
    own = simulate_fleet(n_units=6, n_years=1, seed=3)
    same = simulate_fleet(n_units=6, n_years=1, seed=3, difficulties={})
    pd.testing.assert_frame_equal(own.lives, same.lives)
    more = simulate_fleet(n_units=6, n_years=1, seed=3, difficulties={"comebacks": 1.0})
    assert more.scenario.difficulties == own.scenario.difficulties | {"comebacks": 1.0}
    assert own.scenario.record.leaving_per_year == 0.08


def test_an_unknown_difficulty_names_the_known_ones(tmp_path):
    with pytest.raises(SettingsError) as caught:
        simulate_fleet(n_units=2, difficulties={"late_strat": 1.0, "season": 1.5})
    text = str(caught.value)
    assert "late_strat: unknown; did you mean 'late_start'?; season = 1.5 is not in 0 to 1" in text
    assert all(name in text for name in DIFFICULTIES)
    own = tmp_path / "own.toml"
    own.write_text("[difficulties]\nghosts = 0.5\n")
    with pytest.raises(SettingsError, match="ghosts: unknown"):
        simulate_fleet(n_units=2, settings_file=own)
    own.write_text("[difficulties]\nseason = 3.0\n")
    with pytest.raises(SettingsError, match="difficulties.season"):
        simulate_fleet(n_units=2, settings_file=own)


def test_late_start(fleet_with):
    for strength, oldest in ((0.0, 0.0), (1.0, 6.0)):
        fleet = fleet_with("late_start", strength)
        before = [fleet.span.start - m.in_service for m in fleet.machines]
        assert max(before) <= oldest * 365.25
        assert (sum(b > 0 for b in before) > 20) == (strength > 0)


def test_unknown_installs(export_with):
    for strength, least, most in ((0.0, 0.0, 0.0), (1.0, 0.6, 0.95)):
        listed = pd.read_csv(export_with("unknown_installs", strength)["machines"], dtype=str)
        assert least <= listed["In service"].isna().mean() <= most


def test_silent_leavers(fleet_with):
    for strength in (0.0, 1.0):
        fleet = fleet_with("silent_leavers", strength)
        left = [m for m in fleet.machines if m.leaves < fleet.span.end]
        assert bool(left) == (strength > 0) == (fleet.lives["event"] == "lost").any()
    assert 0.10 < len(left) / 40 / 2.4 < 0.30
    assert sum(m.is_leaving_known for m in left) < 0.4 * len(left)


def test_no_meters(lines_with):
    for strength, least, most in ((0.0, 0.0, 0.0), (1.0, 0.5, 0.9)):
        jobs = jobs_of(lines_with("no_meters", strength))
        assert least <= (jobs[jobs["Machine"] != ""]["Meter"] == "").mean() <= most


def test_meter_faults(lines_with, fleet_with):
    true = {
        (m.machine.unit_id, f"{m.day // 1:.0f}"): m.meter_hours
        for m in fleet_with("meter_faults").visits
    }
    wrong = {}
    for strength in (0.0, 1.0):
        jobs = jobs_of(lines_with("meter_faults", strength))
        jobs = jobs[jobs["Machine"] != ""]
        days = (pd.to_datetime(jobs["Job date"], format="%d/%m/%Y") - START).dt.days
        hours = [true[u, f"{d}"] for u, d in zip(jobs["Machine"], days, strict=True)]
        shown = jobs["Meter"].astype(float)
        wrong[strength] = (shown - hours).abs() > 1.0
        steps = shown.groupby(jobs["Machine"]).diff().dropna()
        assert (steps < 0).any() == (strength > 0), "goes back to 0, or is another meter"
        stands = (steps == 0) & (days.groupby(jobs["Machine"]).diff()[steps.index] > 20)
        assert (stands.sum() > 3) == (strength > 0), "stopped"
    assert not wrong[0.0].any()
    assert 0.15 < wrong[1.0].mean() < 0.75


def test_opportunistic_changes(fleet_with):
    assert events_of(fleet_with(), "opportunistic").empty
    hard = fleet_with("opportunistic_changes")
    n_repairs = len(events_of(hard, "failure"))
    assert 0.1 < len(events_of(hard, "opportunistic")) / n_repairs < 0.5


def test_shotgun_repairs(fleet_with, lines_with):
    assert not any(v.is_shotgun for v in fleet_with().visits)
    fleet = fleet_with("shotgun_repairs")
    visits = [v for v in fleet.visits if v.is_shotgun and v.day < fleet.span.end]
    assert len(visits) > 15
    for visit in visits:
        assert len(visit.causes) == 1
        assert len(visit.works) == 3
        assert {w.activity for w in visit.works} == {"replace"}
        group = {w.component for w in visit.works}
        assert any(group == set(g) for g in fleet.scenario.shotgun.groups)
    jobs = jobs_of(lines_with("shotgun_repairs"))
    parts = lines_with("shotgun_repairs").query("Sort == 'part'").groupby("Job").size()
    vague = jobs[jobs["Work"].str.lower().isin({"repaired and tested", "repaired", ""})]
    vague = vague[vague["Job kind"] == "repair"]
    assert (parts.reindex(vague["Job"]) == 3).all()
    assert len(vague) > 0.6 * len(visits)


def test_cleaned_parts(fleet_with):
    for strength, least, most in ((0.0, 0.0, 0.0), (1.0, 0.5, 0.9)):
        events = events_of(fleet_with("cleaned_parts", strength), "failure")
        carburetors = events[events["component"] == "carburetor"]
        assert least <= (carburetors["activity"] == "clean").mean() <= most
        assert (events[events["component"] != "carburetor"]["activity"] == "replace").all()


def test_comebacks(fleet_with):
    for strength, least, most in ((0.0, 0.0, 0.0), (1.0, 0.07, 0.18)):
        lives = fleet_with("comebacks", strength).lives
        share = lives["is_comeback"].sum() / (lives["event"] == "failed").sum()
        assert least <= share <= most


def test_early_failure_batch(fleet_with):
    assert "is_faulty" not in fleet_with().lives
    fleet = fleet_with("early_failure_batch")
    faulty = fleet.lives[fleet.lives["is_faulty"]]
    start, end = (START + pd.Timedelta(days=d) for d in (fleet.span.start, fleet.span.end))
    share = (faulty["installed_on"] - start) / (end - start)
    assert share.between(0.39, 0.61).all()
    assert set(faulty["component"]) <= set(fleet.scenario.early_batch.components)
    sound = fleet.lives[
        fleet.lives["component"].isin(faulty["component"]) & ~fleet.lives["is_faulty"]
    ]
    ages = [f[f["event"] == "failed"]["age_days"].median() for f in (faulty, sound)]
    assert len(faulty) > 10
    assert ages[0] < 0.5 * ages[1]


def test_duty_changes(fleet_with, lines_with):
    assert all(len(m.spells) == 1 for m in fleet_with().machines)
    fleet = fleet_with("duty_changes")
    moved = [m for m in fleet.machines if len(m.spells) > 1]
    assert len(moved) > 10
    for machine in moved:
        for one, other in zip(machine.spells, machine.spells[1:], strict=False):
            assert one.duty != other.duty
            assert one.start < other.start
    lives = fleet.lives.sort_values(["unit_id", "component", "installed_on", "entry_days"])
    parts = lives[lives["event"] == "moved"]
    after = lives.shift(-1).loc[parts.index]
    assert len(parts) > 50
    assert (after["life_number"] == parts["life_number"]).all()
    assert (after["entry_days"] == parts["age_days"]).all()
    assert (after["duty"] != parts["duty"]).all()
    customers = lines_with("duty_changes").query("Machine != ''").groupby("Machine")["Customer"]
    assert (customers.nunique() > 1).sum() > 5
    assert (lines_with().query("Machine != ''").groupby("Machine")["Customer"].nunique() == 1).all()


def test_season(fleet_with):
    for strength, least, most in ((0.0, 0.8, 1.25), (1.0, 2.5, 8.0)):
        fleet = fleet_with("season", strength)
        seasonal = [m.use for m in fleet.machines if m.duty == "verge crews"]
        run = {}
        for half, months in (("summer", (5, 6, 7, 8)), ("winter", (1, 2, 11, 12))):
            days = [
                d
                for d in range(int(fleet.span.start), int(fleet.span.end))
                if (START + pd.Timedelta(days=d)).month in months
            ]
            run[half] = sum(u.hours_at(d + 1) - u.hours_at(d) for u in seasonal for d in days[::7])
        assert least < run["summer"] / run["winter"] < most


def test_counter_sales(lines_with):
    assert not (lines_with()["Job kind"] == "counter").any()
    hard = lines_with("counter_sales")
    sales = hard[hard["Job kind"] == "counter"]
    assert 0.9 < len(sales) / (157 * (0.4 + 2.6 * 0.4)) < 1.3
    assert (sales["Machine"] == "").all()


def test_typed_text(lines_with):
    for strength in (0.0, 1.0):
        lines = lines_with("typed_text", strength)
        parts = lines[lines["Sort"] == "part"]
        repairs = jobs_of(lines).query("`Job kind` == 'repair'")
        vague = repairs["Work"].str.lower().isin({"repaired and tested", "repaired", ""})
        shares = [(parts["Part no"] == "").mean(), (parts["Text"] == "").mean(), vague.mean()]
        assert shares == [0, 0, 0] if strength == 0 else min(shares) > 0.05


def test_returns(lines_with, fleet_with):
    assert not (lines_with()["Sort"] == "credit").any()
    lines, fleet = lines_with("returns"), fleet_with("returns")
    credits = lines[(lines["Sort"] == "credit") & (lines["Machine"] != "")]
    repairs = jobs_of(lines).query("`Job kind` == 'repair'")
    assert 0.12 < len(credits) / len(repairs) < 0.35
    billed = lines[lines["Sort"] == "part"]
    for credit in credits.itertuples():
        own = billed[(billed["Machine"] == credit.Machine) & (billed["Part no"] == credit[10])]
        assert len(own), "what is credited was billed to that machine"
    pieces = lines[lines["Sort"].isin(["part", "credit"])]
    demand = fleet.demand[fleet.demand["month"] <= pd.Timestamp(fleet.scenario.record.as_of)]
    assert pieces["Qty"].astype(int).sum() == demand["quantity"].sum()
    assert len(fleet.events) == len(fleet_with().events), "no life ends by it"


def test_reissued_files(export_with, lines_with):
    whole = lines_with()
    assert "lines_again" not in export_with()
    for strength, least, most in ((0.5, 0.2, 0.55), (1.0, 0.6, 0.85)):
        paths = export_with("reissued_files", strength)
        one, two = (
            pd.read_csv(paths[n], dtype=str, keep_default_na=False)
            for n in ("lines", "lines_again")
        )
        both = pd.concat([one, two])
        assert least < (len(both) - len(whole)) / len(whole) < most
        again = both.drop_duplicates(ignore_index=True)
        pd.testing.assert_frame_equal(again, whole.drop_duplicates(ignore_index=True))
        exports = read_settings(paths["settings"]).exports
        assert [e.path for e in exports if e.kind == "lines"] == ["lines.csv", "lines_again.csv"]


def test_readings(lines_with):
    read = r"(?:cap|brushes) (?:measured )?\d+(?:\.\d)? ?(?:k|mm)"
    share = {}
    for strength in (0.0, 1.0):
        jobs = jobs_of(lines_with("readings", strength))
        services = jobs[jobs["Job kind"] == "service"]
        share[strength] = services["Work"].str.lower().str.contains(read).mean()
    assert share[0.0] == 0
    assert share[1.0] > 0.8


def test_announced_contract(export_with, fleet_with):
    plain, fleet = fleet_with(), fleet_with("announced_contract")
    assert len(fleet.announced) == 8
    assert {m.in_service for m in fleet.announced} == {fleet.span.end}
    as_of = pd.Timestamp(fleet.scenario.record.as_of)
    both = fleet.demand.merge(plain.demand, on=["part_number", "month"], suffixes=("", "_plain"))
    more = both["quantity"] - both["quantity_plain"]
    assert (more[both["month"] <= as_of] == 0).all()
    assert more[both["month"] > as_of].sum() > 5
    contract = pd.read_csv(export_with("announced_contract")["contracts"])
    assert contract["n_machines"].tolist() == [8]
    names = {m.unit_id for m in fleet.announced}
    listed = pd.read_csv(export_with("announced_contract")["machines"])["Machine"]
    assert not names & set(listed)
    assert "contracts" not in export_with()


def test_plan_from_cutoff(export_with, fleet_with):
    plain, fleet = fleet_with(), fleet_with("plan_from_cutoff")
    end = fleet.span.end
    assert in_order(fleet.lives).equals(in_order(plain.lives)), "nothing before the cut-off"

    def planned(f):
        return [
            w.component for v in f.visits if v.day >= end for w in v.works
            if w.reason == "preventive" and w.component == "fuel hose and clamps"
        ]  # fmt: skip

    assert not planned(plain)
    assert len(planned(fleet)) > 10
    settings = read_settings(export_with("plan_from_cutoff")["settings"])
    assert settings.plan.in_force == "present_schedule"
    assert set(settings.present_schedule) == set(fleet.scenario.plan.ages)
    assert settings.present_schedule["fuel hose and clamps"].months == 24
    assert read_settings(export_with()["settings"]).plan.in_force == "as seen"


def test_wrong_duty_labels(export_with, fleet_with):
    assert not read_settings(export_with()["settings"]).duty.by_unit
    by_unit = read_settings(export_with("wrong_duty_labels")["settings"]).duty.by_unit
    duty = {m.unit_id: m.duty for m in fleet_with().machines}
    assert 1 <= len(by_unit) <= 9
    assert all(stated != duty[unit] for unit, stated in by_unit.items())


def test_wrong_failure_cost(export_with, fleet_with):
    right, wrong = (
        read_settings(export_with("wrong_failure_cost", s)["settings"]) for s in (0.0, 1.0)
    )
    ratios = set()
    for name in fleet_with().scenario.components:
        true, stated = right.cost_of(name), wrong.cost_of(name)
        assert stated.planned_cost == true.planned_cost < stated.failure_cost
        ratios.add(round(stated.failure_cost / true.failure_cost, 1))
    assert ratios == {0.5, 2.0}
