"""Keys of the case file whose effect does not exist in this version.

They are checked like all the others and then refused, never silently ignored. A later version
that gives one its effect deletes its line here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from simcheck.files.case_faults import Faults


def _holds(word: str) -> Callable[[object], bool]:
    return lambda value: isinstance(value, list) and word in value


@dataclass(frozen=True)
class _Later:
    path: tuple[str, ...]
    matches: Callable[[object], bool]
    subject: str  # the value meant, where only some values are refused
    why: str
    instead: str


_LATER = (
    _Later(
        ("body", "forces"),
        _holds("third-bodies"),
        '"third-bodies" ',
        "the pull of other bodies is not built yet",
        "leave it out",
    ),
    _Later(
        ("body", "forces"),
        _holds("sunlight-pressure"),
        '"sunlight-pressure" ',
        "the push of sunlight is not built yet",
        "leave it out",
    ),
)


def refuse_later(data: Mapping[str, object], faults: Faults) -> None:
    """Record a fault for every key of the file that has no effect yet."""
    wrong = {later.path for later in _LATER if faults.at(later.path)}
    for later in _LATER:
        found, value = _look_up(data, later.path)
        if found and later.matches(value) and (later.subject or later.path not in wrong):
            faults.add(
                later.path,
                f"{later.subject}has no effect in this version ({later.why}); {later.instead}",
            )


def _look_up(data: Mapping[str, object], path: tuple[str, ...]) -> tuple[bool, object]:
    value: object = data
    for key in path:
        if not isinstance(value, Mapping) or key not in value:
            return False, None
        value = value[key]
    return True, value
