"""The attacks, one test each: read the list with ``pytest tests/hostile --collect-only -q``."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import reading  # noqa: E402
import writing  # noqa: E402

TESTS = Path(__file__).parents[1]
ATTACKS = reading.ATTACKS | writing.ATTACKS
# held by tests that stand beside what they are about
ELSEWHERE = {
    "pages: markup and scripts in any text": "properties/test_no_text_runs.py",
    "workbook: formulas and links in any text": "properties/test_no_text_runs.py",
    "duty.csv, to_review.csv: formulas": "properties/test_no_text_runs.py",
    "packs: customers named as paths": "reports/test_packs.py",
    "disk: full, read only, links planted beside the run": "faults/test_faults.py",
    "two runs into one folder": "faults/test_faults.py",
    "names in a run under pseudonyms": "privacy/test_anonymous_run.py",
}
_TEST_OF = {
    "pages: markup and scripts in any text": "test_hostile_text_adds_no_tag_to_any_page",
    "workbook: formulas and links in any text": "test_the_order_list_holds_no_formula_and_no_link",
    "duty.csv, to_review.csv: formulas": "test_duty_csv",
    "packs: customers named as paths": "test_folder_names_stay_in_their_place_and_never_meet",
    "disk: full, read only, links planted beside the run":
        "test_a_link_planted_beside_the_folder_leads_nowhere",
    "two runs into one folder": "test_the_second_run_into_a_folder_is_refused",
    "names in a run under pseudonyms": "test_no_name_is_in_any_byte",
}  # fmt: skip


@pytest.mark.parametrize("attack", ATTACKS)
def test_attack(attack: str, tmp_path: Path):
    ATTACKS[attack](tmp_path)


@pytest.mark.parametrize("attack", ELSEWHERE)
def test_attack_is_held_elsewhere(attack: str):
    assert f"def {_TEST_OF[attack]}(" in (TESTS / ELSEWHERE[attack]).read_text(encoding="utf-8")
