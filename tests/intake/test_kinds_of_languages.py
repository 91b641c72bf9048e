"""Hours of work are no parts, in whatever language a shop bills them."""

import pandas as pd
import pytest

from dutylife.intake.line_kinds import line_kinds

LABOUR = ["Arbeitszeit", "Lohn Werkstatt", "Main d'œuvre", "Mano de obra taller", "Arbeidsloon",
          "Labour"]  # fmt: skip
FEES = ["Kleinmaterial", "Frais de port", "Desplazamiento", "Voorrijkosten"]
PARTS = ["Zündkerze", "Bougie", "Bujía", "Luchtfilter"]


def kind_of(description: str, number: str = "") -> str:
    line = pd.DataFrame(
        {"part_number": [number], "description": [description], "quantity": [0.5],
         "unit_price": [52.0]}
    )  # fmt: skip
    for name in ("part_number", "description"):
        line[name] = line[name].astype("category")
    (kind,) = line_kinds(line, pd.Series([""]))
    return str(kind)


@pytest.mark.parametrize(
    ("text", "kind"),
    [*((t, "labour") for t in LABOUR), *((t, "fee") for t in FEES), *((t, "part") for t in PARTS)],
)
def test_what_a_line_bills_is_known_in_five_languages(text: str, kind: str):
    assert kind_of(text) == kind


def test_a_part_number_stands_above_a_word_of_its_text():
    assert kind_of("Lohn im Beutel", "LB-20") == "part"
