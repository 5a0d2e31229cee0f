"""What all of the vocabulary's values have in common: immutable, closed to unknown keys, finite numbers."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, StringConstraints


class Record(BaseModel):
    """An immutable value.

    Fields are named with their unit in the code and, by alias, as the studio folder names them in files.
    Code builds a record by field name; files are read with ``by_alias=True, by_name=False``.
    """

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        allow_inf_nan=False,
        validate_by_name=True,
        validate_by_alias=True,
        str_strip_whitespace=True,
    )


Identifier = Annotated[
    str, StringConstraints(min_length=1, max_length=60, pattern=r"^[^\s;,:=\[\]][^;,:=\[\]\n\r\t]*$")
]
"""An id: any short text without ``; , : = [ ]`` or line breaks."""

Label = Annotated[str, StringConstraints(min_length=1, max_length=200)]
Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
