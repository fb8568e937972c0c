"""Sections of a file as models, each value read by its reader; the one module that knows pydantic."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar, get_args, get_origin

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StrictBool, ValidationError, ValidationInfo
from pydantic import field_validator as checking
from pydantic import model_validator as checking_all
from pydantic_core import ErrorDetails

from collector.job_lines import unknown_key

__all__ = [
    "Field", "Key", "Reader", "Refusal", "Section", "StrictBool", "ValidationInfo", "by", "checking", "checking_all",
    "keys", "reason", "validated",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Reader:
    """Reader of what the file gives, called with the value and then the parameters; its ValueError is the mistake."""

    read: Callable[..., object]
    parameters: tuple[object, ...]

    def __call__(self, value: object) -> object:
        """The value in its inside unit."""
        return self.read(value, *self.parameters)


def by(read: Callable[..., object], *parameters: object) -> BeforeValidator:
    """The annotation of a field that is read by `read`."""
    return BeforeValidator(Reader(read, parameters))


class Section(BaseModel):
    """One table of a file; a key that it does not have is a mistake."""

    model_config = ConfigDict(extra="forbid", frozen=True)


_EXPECTED = {
    "model_type": "expected a table with keys",
    "dict_type": "expected a table such as {table}",
    "string_type": "expected text in quotes",
    "bool_type": "expected true or false, without quotes",
    "missing": "this key is needed and missing",
}

Refusal = ErrorDetails
"""One thing that does not fit: its place in the file (`loc`), and the facts of `reason`."""

Model = TypeVar("Model", bound=Section)


def validated(model: type[Model], tables: Mapping[str, Any]) -> tuple[Model | None, list[Refusal]]:
    """The file of these tables, None where something does not fit; and everything that does not."""
    try:
        return model.model_validate(tables), []
    except ValidationError as error:
        return None, error.errors(include_url=False)


def reason(refusal: Refusal, model: type[Section], table: str = "{ pressure = 'draft_collector' }") -> str:
    """What is wrong and what was expected, for people; `table` is an example of one in braces."""
    if refusal["type"] == "value_error":
        return str(refusal["ctx"]["error"])
    if refusal["type"] == "extra_forbidden":
        return unknown_key(refusal["loc"], _keys(model))
    return _EXPECTED.get(refusal["type"], refusal["msg"]).replace("{table}", table)


def _keys(model: type[Section], section: str = "") -> dict[str, list[str]]:
    """Keys of a section and of those inside it, by the section's name."""
    found = {section: [field.alias or name for name, field in model.model_fields.items()]}
    for key, field in zip(found[section], model.model_fields.values(), strict=True):
        for inner in (field.annotation, *get_args(field.annotation)):
            if isinstance(inner, type) and issubclass(inner, Section):
                found |= _keys(inner, f"{section}.{key}".removeprefix("."))
    return found


@dataclass(frozen=True, slots=True)
class Key:
    """One key that a job file may have, and how it is read."""

    path: tuple[str, ...]
    """Names of its sections and its own; those of [[limit]] and [[instrument]] without a number."""
    reader: Reader | None
    """None where the type alone says it, or where another key decides."""
    type: object
    """`bool`, `dict` or another."""


def keys(model: type[BaseModel], path: tuple[str, ...] = ()) -> Iterator[Key]:
    """Every key of the file, section by section as the models have them."""
    for name, field in model.model_fields.items():
        own = (*path, field.alias or name)
        kinds = (field.annotation, *get_args(field.annotation))
        section = next((kind for kind in kinds if isinstance(kind, type) and issubclass(kind, Section)), None)
        if section:
            yield from keys(section, own)
            continue
        readers = (given.func for given in field.metadata if isinstance(given, BeforeValidator))
        reader = next((reader for reader in readers if isinstance(reader, Reader)), None)
        plain = [
            get_origin(kind) or kind for kind in (*kinds, *(get_args(kind)[0] for kind in kinds if get_args(kind)))
        ]
        yield Key(own, reader, next((kind for kind in (dict, bool) if kind in plain), object))
