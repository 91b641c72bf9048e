"""What a shape of export is: the plain tables of a fleet to the files a shop would hand over."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import pandas as pd

from dutylife.practice.shapes.form import Form


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tables:
    """A fleet's export in the plain form, all text.

    Parameters
    ----------
    lines : dict of str to DataFrame
        Lines by file name without ending; two that overlap where the fleet is so made.
    whole : DataFrame
        Every line once, in order of job.
    machines, parts : DataFrame
        The machines have a column Duty, unless the duty is left to be confirmed.
    title : str
        Name of the shop, for titles and preambles.
    """

    lines: Mapping[str, pd.DataFrame]
    whole: pd.DataFrame
    machines: pd.DataFrame
    parts: pd.DataFrame
    title: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """One shape of export.

    Parameters
    ----------
    name : str
    about : str
        A line for the README: what is particular about it.
    files : callable
        `Tables` to the bytes of each file, by path inside the folder.
    form : Form, optional
        The signs and headings, for the shapes whose settings file is written; the others are left
        to `dutylife draft`.
    """

    name: str
    about: str
    files: Callable[[Tables], dict[str, bytes]]
    form: Form | None = None
