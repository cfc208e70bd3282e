"""A real browser, driven through its own protocol, and pages of real results.

Debian's chromium and chromium-driver. Where there is none the tests are skipped and say so, unless
SIMCHECK_BROWSER=required asks that they be run.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

import simcheck
from simcheck.records.result import Result
from tests.browser.looking import Browser, open_browser

CASE = Path(__file__).parents[2] / "cases" / "mars_ring.toml"
_BROWSERS = ("chromium", "chromium-browser", "google-chrome")

Opener = Callable[..., Browser]


@pytest.fixture(scope="session")
def programs() -> tuple[str, str]:
    """Paths of the browser and of its driver."""
    browser = next((found for name in _BROWSERS if (found := shutil.which(name))), None)
    driver = shutil.which("chromedriver")
    if browser is None or driver is None:
        told = "no chromium with chromedriver: apt-get install chromium chromium-driver"
        if os.environ.get("SIMCHECK_BROWSER") == "required":
            pytest.fail(told)
        pytest.skip(told)
    return browser, driver


@pytest.fixture(scope="session")
def pages(programs: tuple[str, str], tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Pages of one case: a flight with errors, many flights with their rows, a hold."""
    folder = tmp_path_factory.mktemp("pages")
    case = simcheck.load_case(CASE)
    plan = simcheck.plan(case)
    flight = simcheck.fly(case, plan, seed=0, sample=3)
    results: dict[str, Any] = {
        "flight": Result(
            kind="fly", case=case, plan=plan, flight=flight, verdict=simcheck.judge(case, flight)
        ),
        "hold": Result(
            kind="hold", case=case, plan=plan, hold=simcheck.hold(case, plan, duration_s=30 * 86400)
        ),
    }
    simcheck.disperse(case, plan, samples=40, out=folder / "run")
    results["dispersion"] = folder / "run"
    for name, result in results.items():
        simcheck.write_report(folder / f"{name}.html", result)
    return {name: folder / f"{name}.html" for name in results}


@pytest.fixture
def browse(programs: tuple[str, str], pages: dict[str, Path], tmp_path: Path) -> Iterator[Opener]:
    """Opens a page by its name; each in a browser of its own, closed afterwards."""
    opened: list[Browser] = []

    def open_page(name: str, **how: Any) -> Browser:
        profile = tmp_path / f"profile-{len(opened)}"
        opened.append(open_browser(programs, profile, **how))
        opened[-1].show(pages[name])
        return opened[-1]

    yield open_page
    for one in opened:
        one.close()
