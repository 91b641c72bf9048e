"""What every section of the settings file is, and the kinds of figures it may hold."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

Money = Annotated[float, Field(ge=0)]
Days = Annotated[float, Field(ge=0)]
Positive = Annotated[float, Field(gt=0)]
Share = Annotated[float, Field(gt=0, lt=1)]
Number = Annotated[int, Field(ge=1, le=48)]
Week = Annotated[int, Field(ge=1, le=53)]


class Section(BaseModel):
    """A table of the file: no key it does not know, never changed after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)
