"""The practice export is what a shop could have: files, headings, gaps, and the same pieces."""

import json
import re
import tomllib

import pandas as pd
import pytest

from dutylife.components import components_of
from dutylife.errors import DutylifeError, SettingsError
from dutylife.practice import make_practice, simulate_fleet
from dutylife.practice.fleet import make_machines
from dutylife.practice.shapes import SHAPES
from dutylife.practice.texts import phrases
from dutylife.settings import read_settings

SEED = 4


@pytest.fixture(scope="module")
def paths(tmp_path_factory):
    return make_practice(tmp_path_factory.mktemp("practice"), seed=SEED)


@pytest.fixture(scope="module")
def fleet():
    return simulate_fleet(seed=SEED)


@pytest.fixture(scope="module")
def lines(paths):
    return pd.read_csv(paths["lines"], dtype=str, keep_default_na=False)


@pytest.fixture(scope="module")
def machines(paths):
    return pd.read_csv(paths["machines"], dtype=str, keep_default_na=False)


def test_every_file_promised_is_there(paths):
    names = {"lines", "machines", "parts", "settings", "laws", "lives", "demand", "readme"}
    assert set(paths) == names
    assert all(path.is_file() for path in paths.values())
    assert {p.parent.name for n, p in paths.items() if n in ("laws", "lives", "demand")} == {
        "truth"
    }


def test_headings_of_the_truth(paths):
    def heading(name):
        return paths[name].read_text().splitlines()[0]

    assert heading("laws") == "component,duty,clock,distribution,shape,scale"
    assert heading("lives") == (
        "unit_id,component,life_number,installed_on,ended_on,age_hours,age_days,event,duty,"
        "is_comeback"
    )
    assert heading("demand") == "part_number,component,month,quantity"


def test_the_settings_file_is_read_and_maps_columns_that_exist(paths, lines):
    settings = read_settings(paths["settings"])
    components_of(settings)
    assert settings.fleet.as_of is not None
    assert [export.kind for export in settings.exports] == ["lines", "machines", "parts"]
    for export in settings.exports:
        heading = pd.read_csv(settings.folder / export.path, nrows=0).columns
        assert {c.column for c in export.columns.values()} <= set(heading)
        assert export.date_order == "dmy"
    assert set(lines["Customer"]) <= set(settings.duty.by_customer)
    for component in pd.read_csv(paths["laws"])["component"].unique():
        cost = settings.cost_of(component)
        assert 0 < cost.planned_cost < cost.failure_cost


def test_every_duty_has_two_customers_and_its_machines_lives(paths, machines):
    by_customer = read_settings(paths["settings"]).duty.by_customer
    assert pd.Series(by_customer).value_counts().min() >= 2
    lives = pd.read_csv(paths["lives"])
    duty = machines.set_index("Machine")["Customer"].map(by_customer)
    assert (lives["unit_id"].map(duty) == lives["duty"]).all()


def test_a_job_is_one_visit_of_one_machine(lines):
    jobs = lines.groupby("Job")
    for heading in ("Job date", "Job kind", "Machine", "Customer", "Meter", "Complaint", "Work"):
        assert (jobs[heading].nunique() == 1).all(), heading
    visits = lines[lines["Job kind"] != "counter"]
    labour = (visits["Sort"] == "labour").groupby(visits["Job"]).sum()
    assert (labour == 1).all()
    assert 2 < len(visits) / visits["Job"].nunique() < 4
    assert set(lines["Sort"]) == {"part", "labour", "fee", "note", "credit"}
    counter = lines[lines["Job kind"] == "counter"]
    assert (counter["Machine"] == "").all()
    assert (visits["Machine"] != "").all()


def test_dates_are_day_first_within_the_record_and_rise_with_the_job(lines, fleet):
    dates = pd.to_datetime(lines["Job date"], format="%d/%m/%Y")
    assert dates.is_monotonic_increasing
    assert dates.max() <= pd.Timestamp(fleet.scenario.record.as_of)
    assert dates.min() >= pd.Timestamp("1970-01-01") + pd.Timedelta(days=fleet.span.start)


def test_pieces_billed_are_the_true_demand(lines, paths):
    pieces = lines[lines["Sort"].isin(["part", "credit"])]
    month = pd.to_datetime(pieces["Job date"], format="%d/%m/%Y").dt.strftime("%Y-%m")
    billed = pieces["Qty"].astype(int).groupby(month).sum()
    demand = pd.read_csv(paths["demand"])
    record = demand[demand["month"] <= month.max()]
    true = record.groupby("month")["quantity"].sum()
    pd.testing.assert_series_equal(billed, true, check_names=False)
    # by part, what is billed with its number can't exceed what left the shelf
    numbered = pieces[pieces["Part no"] != ""]
    sold = numbered["Qty"].astype(int).groupby(numbered["Part no"]).sum()
    left = record.groupby("part_number")["quantity"].sum()
    missing = (left - sold.reindex(left.index, fill_value=0)).sum()
    assert missing == pieces[pieces["Part no"] == ""]["Qty"].astype(int).sum() > 0


def test_meters_rise_and_are_missing_where_said(lines):
    visits = lines[lines["Machine"] != ""].drop_duplicates("Job")
    read = visits[visits["Meter"] != ""].assign(Meter=lambda f: f["Meter"].astype(int))
    assert (read.groupby("Machine")["Meter"].diff().dropna() >= 0).all()
    has_meter = visits["Machine"].isin(read["Machine"])
    share = (visits[has_meter]["Meter"] == "").mean()
    assert 0.06 < share < 0.14
    without = 1 - read["Machine"].nunique() / visits["Machine"].nunique()
    assert 0.15 < without < 0.45


def test_the_list_of_machines_has_its_gaps(lines, machines):
    assert len(machines) == 120
    assert machines["Machine"].is_unique
    assert 0.45 < (machines["In service"] != "").mean() < 0.75
    assert 0 < (~machines["Machine"].isin(lines["Machine"])).sum() < 15
    assert set(lines["Machine"]) - {""} <= set(machines["Machine"])


def test_silent_leavers_are_about_eight_percent_a_year(fleet):
    span = fleet.span
    many = make_machines(fleet.scenario, span, 1500, 9)
    left = [m for m in many if m.leaves < span.end]
    here = sum(min(m.leaves, span.end) - max(m.in_service, span.start) for m in many)
    assert 0.06 < len(left) / (here / 365.25) < 0.10
    assert 0.04 < sum(m.is_leaving_known for m in left) / len(left) < 0.18


def test_the_list_of_parts_covers_most_numbers_and_leaves_counts_open(lines, paths):
    parts = pd.read_csv(paths["parts"], dtype=str, keep_default_na=False)
    assert parts["Part no"].is_unique
    used = set(lines["Part no"]) - {""}
    assert len(used - set(parts["Part no"])) == 1
    assert 1 <= (parts["On hand"] == "").sum() <= 2
    assert (parts["Cost"].astype(float) > 0).all()


def phrases_text():
    return json.dumps(phrases())


def test_text_is_as_messy_as_said(lines):
    parts = lines[lines["Sort"] == "part"]
    assert 0.03 < (parts["Part no"] == "").mean() < 0.10
    assert 0.01 < (parts["Text"] == "").mean() < 0.06
    assert not ((parts["Part no"] == "") & (parts["Text"] == "")).any()
    jobs = lines.drop_duplicates("Job")
    repairs = jobs[jobs["Job kind"] == "repair"]
    assert 0.005 < (repairs["Work"] == "").mean() < 0.05
    assert 0.08 < repairs["Work"].str.isupper().mean() < 0.25
    known = set(re.findall(r"[a-z]{5,}", phrases_text().lower()))
    typed = [w for text in jobs["Work"].str.lower() for w in re.findall(r"[a-z]{5,}", text)]
    slips = [w for w in typed if w not in known]
    assert 0.005 < len(slips) / len(typed) < 0.04
    assert len(set(slips)) > 50


def test_the_work_names_the_true_cause_on_most_repairs(lines, fleet):
    """Failure modes are written with the words of the component that truly failed."""
    jobs = lines.drop_duplicates("Job")
    repairs = jobs[jobs["Job kind"] == "repair"].copy()
    repairs["event_date"] = pd.to_datetime(repairs["Job date"], format="%d/%m/%Y")
    events = fleet.events[(fleet.events["reason"] == "failure") & ~fleet.events["is_comeback"]]
    both = events.merge(
        repairs, left_on=["unit_id", "event_date"], right_on=["Machine", "event_date"]
    )
    # a name as typed, or the part's own word in the texts of its faults
    own = {
        name: {n.lower() for n in c["names"]} | {f["text"].split(" ")[0] for f in c["found"]}
        for name, c in phrases()["components"].items()
    }
    named = [
        any(word in work.lower() for word in own[component])
        for component, work in zip(both["component"], both["Work"], strict=True)
    ]
    assert 0.80 < sum(named) / len(named) < 0.97


def test_readings_rise_with_age_and_pass_the_limit_at_failure(lines):
    jobs = lines.drop_duplicates("Job")
    work = jobs["Work"].str.lower()
    read = work.str.extract(r"cap (?:measured )?(\d+\.\d) ?k").iloc[:, 0].astype(float)
    is_ok = work.str.contains(r"\bok\b") & (jobs["Job kind"] == "service")
    assert read[is_ok].dropna().between(9.8, 12.6).all()
    assert read.notna().sum() > 100
    assert (read > 12.7).sum() > 10


def test_the_same_command_writes_the_same_bytes(paths, tmp_path):
    again = make_practice(tmp_path / "again", seed=SEED)
    for name, path in paths.items():
        assert again[name].read_bytes() == path.read_bytes(), name


def test_own_settings_change_the_laws(tmp_path):
    own = tmp_path / "own.toml"
    own.write_text('[components."air filter"]\nscale = 100.0\n[record]\nname = "other"\n')
    paths = make_practice(tmp_path / "p", n_units=5, n_years=1, seed=2, settings_file=own)
    laws = pd.read_csv(paths["laws"]).set_index(["component", "duty"])
    assert laws.loc[("air filter", "harbour"), "scale"] == 100.0
    assert laws.loc[("air filter", "harbour"), "shape"] == 2.6
    assert tomllib.loads(paths["settings"].read_text())["fleet"]["name"] == "other"


def test_an_unknown_shape_names_the_shapes_there_are(tmp_path):
    with pytest.raises(DutylifeError) as caught:
        make_practice(tmp_path / "p", n_units=2, shape="tablets")
    assert str(caught.value) == (
        "There is no export shape 'tablets'.\n  Where: shape\n  Mend:  "
        "the shapes there are: " + ", ".join(sorted(SHAPES))
    )
    assert not (tmp_path / "p").exists()


def test_numbers_out_of_range_are_refused_all_at_once():
    with pytest.raises(SettingsError, match="n_units = 0 .*; n_years = -1 .*; seed = -3"):
        simulate_fleet(n_units=0, n_years=-1, seed=-3)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[visits]\nshape = 1\n", "visits.shape: unknown key"),
        ("[record]\nleaving_per_year = -0.1\n", "record.leaving_per_year: .*greater than"),
        ('[customers."Kerb Store"]\nduty = "stone yrad"\n', "did you mean 'stone yard'"),
        ('[components."ignition cup"]\nshape = 1.0\n', "scale"),
        ('[classes."tamper"]\ndriven = ["pump mechanical seal"]\n', "part_numbers lacks 'tamper'"),
        ("[record\n", "not readable TOML"),
    ],
)
def test_faults_of_own_settings_name_the_key(tmp_path, text, says):
    own = tmp_path / "own.toml"
    own.write_text(text)
    with pytest.raises(SettingsError, match=says):
        simulate_fleet(n_units=2, settings_file=own)


def test_a_missing_settings_file_is_named(tmp_path):
    with pytest.raises(SettingsError, match="does not exist"):
        simulate_fleet(n_units=2, settings_file=tmp_path / "none.toml")


def test_a_component_without_phrases_is_refused_before_anything_is_written(tmp_path):
    own = tmp_path / "own.toml"
    own.write_text(
        '[components."battery"]\non_engine = true\nshape = 2.0\nscale = 900.0\nprice = 50.0\n'
        'unit_cost = 30.0\nlabour_hours = 0.3\nlost_days = 0.5\nsupplier = "first supplier"\n'
        'part_numbers = { "98 cc four-stroke" = "BT-1", "160 cc four-stroke" = "BT-1", '
        '"210 cc four-stroke" = "BT-1", "49 cc two-stroke" = "BT-1" }\n'
    )
    assert "battery" in set(simulate_fleet(n_units=2, settings_file=own).lives["component"])
    with pytest.raises(SettingsError, match="components: battery"):
        make_practice(tmp_path / "p", n_units=2, settings_file=own)
    assert not (tmp_path / "p").exists()


@pytest.mark.parametrize("seed", range(4))
def test_a_fleet_of_one_for_a_week_is_still_an_export(tmp_path, seed):
    paths = make_practice(tmp_path, n_units=1, n_years=0.02, seed=seed)
    read_settings(paths["settings"])
    assert len(pd.read_csv(paths["machines"])) == 1
    assert list(pd.read_csv(paths["lines"]).columns)[:3] == ["Job", "Job date", "Job kind"]
    assert pd.read_csv(paths["demand"])["month"].nunique() >= 13
