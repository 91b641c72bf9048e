"""A workshop's book as a small German shop might print it: words of its own, months summed up.

Invented: five customers, machines of three sorts, parts with Weibull lives, three files. Nothing in
it was made from what the program knows; it is what a person hands over who has never seen it.
"""

import datetime as dt
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

START, END = dt.date(2023, 1, 2), dt.date(2025, 10, 31)
TITLE = ["Werkstattbuch Auszug", "alle Abteilungen   gedruckt 03.11.2025", ""]
HEAD = "Zettel;wann;für wen;Gerät;Zähler Std;Klage;gemacht;Teil;Was;Stk;je Stk;zusammen"
CUSTOMERS = {  # name, how fast parts go there, hours a week
    "Pflasterbau Nord": (0.6, 14.0), "Hafendienste": (0.8, 9.0), "Grünpflege Süd": (1.2, 11.0),
    "Mietpark Halle 3": (1.3, 6.0), "Kanalkolonne": (0.9, 10.0),
}  # fmt: skip
SORTS = {"Stampfer": "RS", "Wasserpumpe": "WP", "Stromerzeuger": "SE"}

_BEFORE = ("", "", "", "Kunde sagt ", "laut Polier ", "schon wieder: ", "morgens ")
_AFTER = (
    "",
    "",
    "",
    ", Probelauf",
    ", läuft wieder",
    ", eilig",
    ", Ventile geprüft",
    ", Gerät gereinigt",
)


@dataclass(frozen=True)
class Part:
    """What is changed: number, name on the bill, price, life [hours], shape, complaint, work."""

    number: str
    name: str
    price: float
    life: float
    shape: float
    klage: str
    gemacht: str
    sorts: tuple[str, ...] = ("Stampfer", "Wasserpumpe", "Stromerzeuger")


PARTS = (
    Part("Z-118", "Zündkerze", 6.2, 520, 1.8, "springt nicht an", "Zündkerze verrußt, erneuert"),
    Part("Z-402", "Kerzenstecker", 9.8, 900, 2.2, "setzt aus bei Nässe",
         "Kerzenstecker defekt, ersetzt"),
    Part("L-731", "Luftfilter", 14.5, 430, 2.5, "keine Leistung",
         "Luftfilter verstopft, gewechselt"),
    Part("V-055", "Vergaser", 78.0, 1900, 1.3, "geht aus", "Vergaser defekt, ausgetauscht"),
    Part("B-220", "Benzinfilter", 5.4, 1100, 1.6, "geht aus", "Benzinfilter verstopft, erneuert"),
    Part("S-310", "Starterseil", 7.9, 800, 1.2, "Seil ab", "Starterseil gerissen, erneuert"),
    Part("K-650", "Keilriemen", 23.0, 700, 2.4, "rüttelt nicht", "Keilriemen verschlissen, ersetzt",
         ("Stampfer",)),
    Part("G-090", "Gleitringdichtung", 31.0, 1200, 2.0, "Wasser läuft raus",
         "Gleitringdichtung undicht, erneuert", ("Wasserpumpe",)),
    Part("C-077", "Kohlebürsten", 18.0, 1000, 2.6, "kein Strom",
         "Kohlebürsten verschlissen, ersetzt", ("Stromerzeuger",)),
)  # fmt: skip


@dataclass
class Book:
    """Rows of the book, and what is true of it."""

    rows: list[list[str]] = field(default_factory=list)
    machines: list[list[str]] = field(default_factory=list)
    n_lines: int = 0
    n_sums: int = 0
    n_replaced: dict[str, int] = field(default_factory=dict)


def euro(value: float) -> str:
    """A figure as such a shop prints it: 1.234,50."""
    return f"{value:,.2f}".replace(",", " ").replace(".", ",").replace(" ", ".")


def make_book(n_machines: int = 60, seed: int = 5) -> Book:
    """Draw machines, lives and visits, and write them month by month."""
    rng = np.random.default_rng(seed)
    book = Book()
    events: list[tuple[dt.date, str, str, float, Part | None]] = []
    for number in range(n_machines):
        sort = list(SORTS)[number % 3]
        unit = f"{SORTS[sort]} {number + 11:02d}"
        customer = list(CUSTOMERS)[int(rng.integers(len(CUSTOMERS)))]
        fast, weekly = CUSTOMERS[customer]
        weekly *= float(rng.lognormal(0, 0.2))
        since = START - dt.timedelta(days=int(rng.integers(30, 900)))
        book.machines.append([unit, sort, f"{since:%d.%m.%Y}", customer])
        for part in PARTS:
            if sort not in part.sorts:
                continue
            hours = 0.0
            while True:
                hours += part.life * fast * float(rng.weibull(part.shape))
                day = since + dt.timedelta(days=7 * hours / weekly)
                if day > END:
                    break
                if day >= START:
                    events.append((day, customer, unit, hours, part))
        for year in (2023, 2024, 2025):
            day = dt.date(year, 3, 1) + dt.timedelta(days=int(rng.integers(0, 60)))
            events.append((day, customer, unit, (day - since).days / 7 * weekly, None))
    _write(book, sorted(events, key=lambda e: (e[0], e[2])), rng)
    return book


def _write(
    book: Book, events: list[tuple[dt.date, str, str, float, Part | None]], rng: np.random.Generator
) -> None:
    month, sums, whole, zettel = "", 0.0, 0.0, 4100

    def closing() -> None:
        # the shop's own words, none of them a word for a total in a list of words
        book.rows.append(["", "", f"Monat {month} macht", *[""] * 8, euro(sums)])
        book.n_sums += 1

    for day, customer, unit, hours, part in events:
        if month and month != f"{day:%m/%Y}":
            closing()
            sums = 0.0
        month, zettel = f"{day:%m/%Y}", zettel + 1
        meter = f"{hours:.0f}" if rng.random() < 0.8 else "k.A."
        head = [f"W{zettel}", f"{day:%d.%m.%Y}", customer, unit, meter]
        lines = (
            [
                (
                    "springt nicht an",
                    "Jahresinspektion, Motoröl gewechselt",
                    "O-001",
                    "Motoröl 1 l",
                    1.0,
                    8.4,
                )
            ]
            if part is None
            else [(part.klage, part.gemacht, part.number, part.name, 1.0, part.price)]
        )
        if part is None:
            lines = [("Inspektion", *lines[0][1:])]
        lines.append(
            (lines[0][0], lines[0][1], "", "Arbeitszeit", 0.25 * int(rng.integers(2, 8)), 52.0)
        )
        before, after = rng.choice(_BEFORE), rng.choice(_AFTER)
        lines = [(before + k, g + after, *rest) for k, g, *rest in lines]
        for klage, gemacht, nummer, was, stk, je in lines:
            amount = round(stk * je, 2)
            sums, whole = sums + amount, whole + amount
            book.rows.append(
                [*head, klage, gemacht, nummer, was, euro(stk), euro(je), euro(amount)]
            )
            book.n_lines += 1
            if nummer:
                book.n_replaced[was] = book.n_replaced.get(was, 0) + 1
    closing()
    book.rows.append(["", "", "alles zusammen", *[""] * 8, euro(whole)])
    book.rows.append(["", "", "Anzahl Posten", *[""] * 8, str(book.n_lines)])
    book.n_sums += 2


def write_book(folder: Path, *, n_machines: int = 60, seed: int = 5) -> Book:
    """Write the three files: book, list of machines, shelf (no column for what is ordered)."""
    book = make_book(n_machines, seed)
    folder.mkdir(parents=True, exist_ok=True)
    text = "\r\n".join([*TITLE, HEAD, *(";".join(r) for r in book.rows)]) + "\r\n"
    (folder / "Werkstattbuch.csv").write_bytes(text.encode("cp1252"))
    machines = ["Gerät;Bauart;im Einsatz seit;steht bei", *(";".join(m) for m in book.machines)]
    (folder / "Geräteliste.csv").write_bytes("\r\n".join(machines).encode("cp1252"))
    shelf = ["Teil;Was;liegt da;EK;von wem;Tage bis da"]
    for number, part in enumerate(PARTS):
        cost = euro(0.6 * part.price)
        shelf.append(
            f"{part.number};{part.name};{number % 4};{cost};Großhandel {1 + number % 2}"
            f";{4 + number}"
        )
    (folder / "Regal.csv").write_bytes("\r\n".join(shelf).encode("cp1252"))
    return book
