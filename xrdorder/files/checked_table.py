"""What a table of `study.toml` is: a frozen model that says all that is wrong with it at once, each with its place.

The description of a field says what belongs there and in which unit. It is the remedy in the message when something
else stands there, and the line of docs/reference/study-toml.md. A field without a description is no key of the file:
it is made when the file is read.

A validator does not know where its value stands, only what is wrong with it. Every table turns the complaints about its
own keys into words and hands them up; on the way each table around it puts its key before the location. Only
`xrdorder.description.study.study_of` and the command line, which know what a person wrote, turn locations into words.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, ClassVar, Self, TypeVar

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    ValidationInfo,
    model_validator,
)
from pydantic.fields import FieldInfo
from pydantic.functional_validators import ModelWrapValidatorHandler
from pydantic_core import InitErrorDetails, PydanticCustomError

from xrdorder.exceptions import StudyError, did_you_mean

Location = tuple[int | str, ...]
"""Keys, and numbers of list items counted from zero."""

Problem = tuple[Location, str]
"""Where something is wrong, and what it is with a remedy."""

ABSENT = "absent"
"""Kind of a complaint about a pattern file that is not there, beside which the rest of a study can be used."""

_TOLD = "told"

FIT, INTERPRETATION, NOBODY = "fit", "interpretation", "nobody"
"""Who sees a key: the fit of a pattern, only its interpretation, or neither. A key of which nothing is said counts as
seen by the fit: a mark that is forgotten costs a fit, and never leaves a stale one."""

TOP = ("title", "phases", "tin_scale", "relations", "samples_table")
"""Keys of the file itself, which a table before them swallows (a test holds them to `Study`)."""

_EXPECTED = {
    "float_type": "a number",
    "string_type": "text in quotes",
    "list_type": "a list in [ ]",
    "tuple_type": "a list in [ ]",
    "dict_type": "a table",
    "model_type": "a table",
    "finite_number": "a finite number",
    "bool_type": "true or false",
}


class Refused(StudyError):
    """A table is wrong; `problems` are the locations and complaints that the message tells in words."""

    def __init__(self, message: str, problems: Sequence[Problem], *, only_absent: bool = False) -> None:
        super().__init__(message)
        self.problems = tuple(problems)
        self.only_absent = only_absent


@dataclass
class Context:
    """What values of a file are read by: where it stands, the whole of it, and what has been read of it so far.

    Attributes
    ----------
    folder : Path
        Relative paths start here.
    table : mapping
        The whole file as it was written.
    to_run : bool
        Pattern files must be there.
    read : dict
        Tables that later ones refer to, by their keys.
    """

    folder: Path = Path()
    table: Mapping[str, Any] = field(default_factory=dict)
    to_run: bool = False
    read: dict[str, Any] = field(default_factory=dict)

    def written(self, key: str) -> dict[str, Any]:
        """Give a table of the file as it was written; empty where there is none."""
        return typed(self.table.get(key), dict)


class CheckedTable(BaseModel):
    """Base of all tables: no unknown keys, no silent conversions, finite numbers."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, strict=True, allow_inf_nan=False, arbitrary_types_allowed=True
    )

    slips: ClassVar[Mapping[str, str]] = {}
    """What people write for a key that is spelt quite differently."""

    @classmethod
    def keys(cls) -> dict[str, FieldInfo]:
        """Keys that the table may have in the file."""
        return {name: info for name, info in cls.model_fields.items() if info.description}

    @classmethod
    def keys_seen_by(cls, *who: str) -> set[str]:
        """Keys that the fit or its interpretation sees."""
        extra = {name: info.json_schema_extra for name, info in cls.keys().items()}
        return {name for name, said in extra.items() if isinstance(said, dict) and said[_SEEN_BY] in who}

    def seen_by(self, *who: str) -> dict[str, Any]:
        """What the fit or its interpretation sees of the table: values by key, fit for JSON, without those not told."""
        return self.model_dump(mode="json", include=self.keys_seen_by(*who), exclude_none=True)

    @classmethod
    def contradictions(cls, given: Mapping[str, Any], context: Context) -> Iterator[Problem]:
        """Find what is wrong with values beside each other, in what was written: no typo elsewhere hides it."""
        yield from ()

    @classmethod
    def unknown(cls, key: str) -> str:
        """Say of a key that the table does not have where it belongs, or which one was meant."""
        if key in TOP and TOP[0] not in cls.model_fields:
            return f"unknown key; {key} belongs at the top of the file, before the first table in [ ]"
        meant = cls.slips.get(key)
        return "unknown key; " + (f"did you mean '{meant}'?" if meant else did_you_mean(key, cls.keys()))

    def completed(self, context: Context) -> Self:
        """Give the table with what the rest of the file says of it."""
        return self

    @model_validator(mode="wrap")
    @classmethod
    def _all_at_once(cls, given: Any, handler: ModelWrapValidatorHandler[Self], info: ValidationInfo) -> Self:
        if not isinstance(given, Mapping):
            return handler(given)
        read: Context = info.context or Context()
        made = None
        # what is made when a file is read is no key of the file
        no_keys = [] if info.context is None else [key for key in given if key in cls.model_fields.keys() - cls.keys()]
        wrong = [_detail((key,), cls.unknown(key)) for key in no_keys]
        try:
            made = handler({key: given[key] for key in given if key not in no_keys} if no_keys else given)
        except ValidationError as error:
            wrong += [_detail(item["loc"], *cls._said(dict(item))) for item in error.errors(include_url=False)]
        wrong += [_detail(*problem) for problem in cls.contradictions(given, read)]
        if wrong or made is None:
            raise ValidationError.from_exception_data(cls.__name__, list(_each_once(wrong)))
        return made if info.context is None else made.completed(read)

    @classmethod
    def _said(cls, error: dict[str, Any]) -> tuple[str, str]:
        """Say one complaint about a key of this table, and give its kind; what an inner table said stays as it is."""
        kind, given, location = error["type"], error["input"], error["loc"]
        if kind in (_TOLD, ABSENT):
            return error["msg"], kind
        if kind == "extra_forbidden":
            return cls.unknown(str(location[-1])), _TOLD
        info = cls.model_fields.get(str(location[0])) if location else None
        wanted = (info.description if info else None) or "what belongs here"
        if kind == "missing":
            return f"is missing; give {wanted}", _TOLD
        if kind == "value_error":
            text = " ".join(str(error["ctx"]["error"]).split())
            return (text if ";" in text else f"{text}; give {wanted}"), _TOLD
        expected = _EXPECTED.get(kind)
        what = f"{quoted(given)} is not {expected}" if expected else f"{quoted(given)} does not fit"
        return f"{what}; give {wanted}", _TOLD


def key(description: str, default: Any = None, *, seen_by: str = FIT) -> Any:
    """Declare a key of the file, what belongs there, and who sees it."""
    return Field(default=default, description=description, json_schema_extra={_SEEN_BY: seen_by})


def needed(description: str, *, seen_by: str = FIT) -> Any:
    """Declare a key that must be there."""
    return Field(description=description, json_schema_extra={_SEEN_BY: seen_by})


_SEEN_BY = "seen_by"


M = TypeVar("M", bound=CheckedTable)
T = TypeVar("T")


def checked(model: type[M], table: Mapping[str, Any], context: Context | None = None) -> M:
    """Read a table.

    Parameters
    ----------
    model : type of CheckedTable
    table : mapping
        What stands in the file, or what was told by options.
    context : Context, optional

    Raises
    ------
    Refused
        All that is wrong; places are written as locations, keys joined by points.
    """
    try:
        return model.model_validate(table, context=context or Context())
    except ValidationError as error:
        # what is only not there comes after what is wrong
        items = sorted(error.errors(include_url=False), key=lambda item: item["type"] == ABSENT)
        problems = [(_location(item["loc"]), str(item["msg"])) for item in items]
        message = "\n".join(f"{'.'.join(map(str, location))}: {said}" for location, said in problems)
        raise Refused(message, problems, only_absent=all(item["type"] == ABSENT for item in items)) from None


def refusal(problems: Sequence[Problem], kind: str = _TOLD) -> ValidationError:
    """Make the error by which a validator tells several problems within its value."""
    return ValidationError.from_exception_data("table", [_detail(*problem, kind) for problem in problems])


def inner_problems(error: ValidationError, *before: int | str) -> list[Problem]:
    """Problems of a table within a table, with the keys that lead to it put before."""
    return [((*before, *_location(item["loc"])), str(item["msg"])) for item in error.errors(include_url=False)]


def _detail(location: Location, said: str, kind: str = _TOLD) -> InitErrorDetails:
    return {"type": PydanticCustomError(kind, "{said}", {"said": said}), "loc": _location(location), "input": None}


def _each_once(details: Sequence[InitErrorDetails]) -> Iterator[InitErrorDetails]:
    seen = set()
    for detail in details:
        if (key := (detail["loc"], str(detail["type"]))) not in seen:
            seen.add(key)
            yield detail


def _location(location: Location) -> Location:
    """Leave out that it is the key of a dictionary which is wrong, and not its value."""
    return location[:-1] if location and location[-1] == "[key]" else tuple(location)


def typed(value: object, kind: type[T]) -> T:
    """Give the value if it is of this kind, else an empty one: the models complain about the rest."""
    return value if isinstance(value, kind) else kind()


def as_tuple(value: object) -> object:
    """Take a list for a tuple."""
    return tuple(value) if isinstance(value, list) else value


def quoted(value: object) -> str:
    """Show what stands in the file, shortened."""
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."
