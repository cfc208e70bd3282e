"""A command line whose verbs answer at once with hand-made records."""

from __future__ import annotations

from typing import Any

import pytest

from simcheck import api
from tests.cli import samples


class Verbs:
    """What the public verbs were asked, and what they answer: a record, or an error to raise."""

    def __init__(self) -> None:
        self.case: Any = samples.case()
        self.plan: Any = samples.plan()
        self.flight: Any = samples.flight()
        self.asked: dict[str, Any] = {}

    def answer(self, name: str, **asked: Any) -> Any:
        self.asked[name] = asked
        answer = getattr(self, name)
        if isinstance(answer, BaseException):
            raise answer
        return answer


@pytest.fixture
def verbs(monkeypatch: pytest.MonkeyPatch) -> Verbs:
    made = Verbs()
    monkeypatch.setattr(api, "load_case", lambda path: made.answer("case", path=path))
    monkeypatch.setattr(
        api, "plan", lambda case, planner, **asked: made.answer("plan", planner=planner, **asked)
    )
    monkeypatch.setattr(api, "fly", lambda case, plan, **asked: made.answer("flight", **asked))
    monkeypatch.setattr(api, "resolved_ring", samples.ring)
    monkeypatch.setattr(api, "setbacks", lambda case, plan, planner, workers: ())
    return made
