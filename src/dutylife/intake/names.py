"""One spelling for each name: WC-07, wc-07 and WC 07 in two files are one machine."""

import pandas as pd

from dutylife.intake.values import on_unlike

_BLANKS = [chr(c) for c in range(0x3001) if chr(c).isspace()]
_PLAIN_BLANKS = "".join(c for c in _BLANKS if c.isascii()).encode()


def squeezed(names: list[str]) -> list[str]:
    r"""Names without case and spaces, done on all as one text: they are many.

    Examples
    --------
    >>> squeezed(["WC 07", "Straße\xa03"])
    ['wc07', 'strasse3']
    """
    whole = "\x00".join(names)
    if not names or whole.count("\x00") >= len(names):  # a name holds the sign itself
        return ["".join(n.casefold().split()) for n in names]
    whole = whole.casefold()
    for blank in _BLANKS:
        whole = whole if blank.isascii() else whole.replace(blank, "")
    # half a pair of surrogates, as JSON may hold, passes as it is
    data = whole.encode(errors="surrogatepass").translate(None, _PLAIN_BLANKS)
    return data.decode(errors="surrogatepass").split("\x00")


def name_key(names: pd.Series) -> pd.Series:
    """Names without case and spaces, by which two spellings are the same name."""
    return on_unlike(names, lambda u: pd.Series(squeezed(u.tolist()), dtype="object"))


def one_spelling(names: pd.Series, preferred: pd.Series | None = None) -> dict[str, str]:
    """Spelling to use for each name's key.

    Parameters
    ----------
    names : Series of str
        Every occurrence; blanks are left out.
    preferred : Series of str, optional
        Spellings that win, e.g. of the machines file; else the most frequent one, ties in
        alphabetical order.
    """
    known = names[names != ""]
    counts = known.value_counts().rename_axis("name").reset_index(name="n")
    counts = counts.sort_values(["n", "name"], ascending=[False, True])
    spelling: dict[str, str] = {}
    first = [] if preferred is None else [preferred[preferred != ""].drop_duplicates()]
    ordered = pd.concat([*first, counts["name"]], ignore_index=True).astype("object")
    for key, name in zip(name_key(ordered), ordered, strict=True):
        spelling.setdefault(key, name)
    return spelling


def respelled(names: pd.Series, spelling: dict[str, str]) -> pd.Series:
    """Names in the one spelling; blanks stay blank."""
    return name_key(names).map(spelling).where(names != "", "").fillna(names)
