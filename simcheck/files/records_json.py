"""Records to JSON and back without loss, by one walker over their fields.

JSON has no infinities and no NaN. `null` stands for what the field is without a value: its default
where that is not finite ("no limit"), None where the field may be None, NaN in any other number.
Where null would be read back as something else, the text "inf", "-inf" or "nan" stands instead.
Finite floats are written with as many digits as bring back the same bits.
"""

from __future__ import annotations

import dataclasses
import difflib
import json
import math
import types
import typing
from functools import lru_cache
from pathlib import Path
from typing import Any, NoReturn, TypeVar, cast

import numpy as np

from simcheck.errors import InputError

T = TypeVar("T")

_LARGEST_FILE = 32 * 2**20  # bytes; a flight of a month has some 100 thousand
_MOST_FAULTS = 20
_LONGEST_ECHO = 40
_TOO_DEEP = "{}: too deeply nested to be a file of ours"
_NOT_FINITE = {"inf": math.inf, "-inf": -math.inf, "nan": math.nan}
_BAD = object()  # stands for a value whose fault is already noted


def write_record(record: Any) -> dict[str, Any]:
    """The JSON object of a record: its fields in order, under their own names."""
    kind: Any = type(record)
    return {
        field.name: _written(getattr(record, field.name), null) for field, _, null in _fields(kind)
    }


def read_record(kind: type[T], value: object, file: str, *, finite: bool = False) -> T:
    """The record of type `kind` that `write_record` turned into `value`.

    finite refuses every number that is not one. Raises InputError with all faults, each naming
    `file` and its key.
    """
    reader = _Reader(file, finite)
    try:
        record = reader.record(kind, value, "")
    except RecursionError:
        raise InputError(_TOO_DEEP.format(file)) from None
    if reader.faults:
        more = len(reader.faults) - _MOST_FAULTS
        rest = [f"{file}: and {more} more faults"] if more > 0 else []
        raise InputError(*reader.faults[:_MOST_FAULTS], *rest)
    return cast(T, record)


def load_json(path: str | Path) -> object:
    """What a JSON file holds; each key may stand only once in an object.

    Raises InputError where the file cannot be read or is not JSON (NaN and Infinity are not).
    """
    file = str(path)
    try:
        with Path(path).open("rb") as stream:
            data = stream.read(_LARGEST_FILE + 1)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else error
        raise InputError(f"{file}: cannot be read: {reason}") from None
    if len(data) > _LARGEST_FILE:
        raise InputError(f"{file}: larger than {_LARGEST_FILE // 2**20} MiB; too large to read")
    try:
        return json.loads(
            data.decode("utf-8"), parse_constant=_no_constant, object_pairs_hook=_unique
        )
    except RecursionError:
        raise InputError(_TOO_DEEP.format(file)) from None
    except json.JSONDecodeError as error:
        place = f"{file}:{error.lineno}:{error.colno}"
        raise InputError(f"{place}: expected JSON: {error.msg}") from None
    except ValueError as error:
        raise InputError(f"{file}: expected JSON in UTF-8: {error}") from None


def _no_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is not a JSON number; write null or a finite number")


def _unique(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found = dict(pairs)
    if len(found) < len(pairs):
        twice = next(key for key, _ in pairs if sum(key == other for other, _ in pairs) > 1)
        raise ValueError(f"the key {shown(twice)} stands twice in one object")
    return found


@lru_cache
def _fields(kind: Any) -> tuple[tuple[dataclasses.Field[Any], Any, float | None], ...]:
    """Each field with its type and what a null in it means."""
    hints = typing.get_type_hints(kind)
    return tuple((f, hints[f.name], _null(f, hints[f.name])) for f in dataclasses.fields(kind))


def _null(field: dataclasses.Field[Any], hint: object) -> float | None:
    if type(None) in typing.get_args(hint):
        return None
    if isinstance(field.default, float) and not math.isfinite(field.default):
        return field.default
    return math.nan


def _written(value: Any, null: float | None = math.nan) -> Any:
    if dataclasses.is_dataclass(value):
        return write_record(value)
    if isinstance(value, np.ndarray | np.generic):
        return _written(value.tolist(), null)
    if isinstance(value, tuple | list):
        return [_written(item) for item in value]
    if isinstance(value, dict):
        return {key: _written(item) for key, item in value.items()}
    if isinstance(value, float) and not math.isfinite(value):
        return None if null is not None and str(value) == str(null) else str(value)
    return value


class _Reader:
    """Walks a JSON value along a record's fields and notes every fault with its key."""

    def __init__(self, file: str, finite: bool) -> None:
        self.file = file
        self.finite = finite
        self.faults: list[str] = []

    def fault(self, key: str, expected: str, got: object) -> object:
        self.note(key, f"expected {expected}, got {shown(got)}")
        return _BAD

    def note(self, key: str, message: str) -> None:
        self.faults.append(f"{self.file}: {key + ': ' if key else ''}{message}")

    def record(self, kind: Any, value: object, key: str) -> Any:
        if not isinstance(value, dict):
            return self.fault(key, "an object", value)
        before = len(self.faults)
        names = [field.name for field, _, _ in _fields(kind)]
        for unknown in value.keys() - set(names):
            near = difflib.get_close_matches(unknown, names, n=1)
            hint = f"did you mean {near[0]}?" if near else f"expected {', '.join(names)}"
            self.note(_join(key, shown(unknown)[1:-1]), f"unknown key; {hint}")
        given = {}
        for field, hint, null in _fields(kind):
            place = _join(key, field.name)
            if field.name in value:
                given[field.name] = self.value(hint, value[field.name], place, null)
            elif _required(field):
                self.note(place, "missing")
        if len(self.faults) > before:
            return _BAD
        try:
            return kind(**given)
        except ValueError as error:  # an array of the wrong shape
            self.note(key, str(error))
            return _BAD

    def value(self, hint: Any, value: object, key: str, null: float | None = math.nan) -> Any:
        """Read a value of any type that records use."""
        origin, arguments = typing.get_origin(hint), typing.get_args(hint)
        if origin in {typing.Union, types.UnionType}:
            (inner,) = (option for option in arguments if option is not type(None))
            return None if value is None else self.value(inner, value, key)
        readers = {
            np.ndarray: self.array,
            tuple: self.sequence,
            dict: self.mapping,
            typing.Literal: self.choice,
        }
        if origin in readers:
            return readers[origin](arguments, value, key)
        if dataclasses.is_dataclass(hint):
            return self.record(hint, value, key)
        return self.number(value, key, null) if hint is float else self.scalar(hint, value, key)

    def choice(self, arguments: tuple[Any, ...], value: object, key: str) -> Any:
        if isinstance(value, str) and value in arguments:
            return value
        return self.fault(key, f"one of {', '.join(map(str, arguments))}", value)

    def sequence(self, arguments: tuple[Any, ...], value: object, key: str) -> Any:
        if not isinstance(value, list):
            return self.fault(key, "a list", value)
        return tuple(self.value(arguments[0], item, f"{key}[{k}]") for k, item in enumerate(value))

    def mapping(self, arguments: tuple[Any, ...], value: object, key: str) -> Any:
        if not isinstance(value, dict):
            return self.fault(key, "an object", value)
        return {
            name: self.value(arguments[1], item, _join(key, name)) for name, item in value.items()
        }

    def array(self, arguments: tuple[Any, ...], value: object, key: str) -> Any:
        if not isinstance(value, list):
            return self.fault(key, "a list of numbers", value)
        return [
            self.array(arguments, item, f"{key}[{k}]")
            if isinstance(item, list)
            else self.number(item, f"{key}[{k}]", math.nan, finite=True)
            for k, item in enumerate(value)
        ]

    def number(self, value: object, key: str, null: float | None, finite: bool = False) -> Any:
        finite = finite or self.finite
        if not finite and value is None and null is not None:
            return null
        if not finite and isinstance(value, str) and value in _NOT_FINITE:
            return _NOT_FINITE[value]
        if isinstance(value, bool) or not isinstance(value, int | float):
            return self.fault(key, "a number", value)
        try:
            number = float(value)
        except OverflowError:
            number = math.inf
        return number if math.isfinite(number) else self.fault(key, "a finite number", value)

    def scalar(self, hint: Any, value: object, key: str) -> Any:
        name = {str: "text", int: "a whole number", bool: "true or false"}[hint]
        if type(value) is not hint:
            return self.fault(key, name, value)
        if isinstance(value, str) and any(not c.isprintable() and c not in "\n\t" for c in value):
            return self.fault(key, "text that can be printed", value)
        return value


def _required(field: dataclasses.Field[Any]) -> bool:
    return field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING


def _join(key: str, name: str) -> str:
    return f"{key}.{name}" if key else name


def shown(value: object) -> str:
    """A value as JSON writes it, on one line, cut short."""
    if isinstance(value, dict):
        return "an object"
    if isinstance(value, list):
        return f"a list of {len(value)}"
    try:
        text = json.dumps(value)
    except ValueError:  # more digits than Python writes
        return "a number of thousands of digits"
    return text if len(text) <= _LONGEST_ECHO else text[: _LONGEST_ECHO - 3] + "..."
