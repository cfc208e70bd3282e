"""What a person would see of a page: sizes, pixels, what was asked of the network, the paper."""

from __future__ import annotations

import base64
import json
from pathlib import Path
from typing import Any

import axe_core_python
from selenium import webdriver
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.support.ui import WebDriverWait

FLAGS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
    "--force-device-scale-factor=1",
)
_PATIENCE_S = 120
_AXE = "axe.run({resultTypes: ['violations']}).then(arguments[0], e => arguments[0](String(e)))"


class Browser:
    """One window on one page."""

    def __init__(self, driver: webdriver.Chrome) -> None:
        self.driver = driver
        self.page = ""

    def show(self, page: Path) -> None:
        """Load a page from disk, and wait until its scripts have run."""
        self.page = page.as_uri()
        self.driver.get(self.page)
        WebDriverWait(self.driver, _PATIENCE_S).until(
            lambda driver: driver.execute_script("return document.readyState") == "complete"
        )

    def ask(self, script: str, *arguments: Any) -> Any:
        """What a script returns."""
        return self.driver.execute_script(script, *arguments)

    def complaints(self) -> list[str]:
        """What the console was told: errors, warnings, broken policies."""
        return [entry["message"] for entry in self.driver.get_log("browser")]

    def requested(self) -> tuple[list[str], list[str]]:
        """Addresses that the page asked for, and those that anyone in the browser did."""
        events = (json.loads(e["message"])["message"] for e in self.driver.get_log("performance"))
        sent = [e["params"] for e in events if e["method"] == "Network.requestWillBeSent"]
        own = [one["request"]["url"] for one in sent if one["documentURL"] == self.page]
        return own, [one["request"]["url"] for one in sent]

    def violations(self) -> list[str]:
        """What axe-core finds wrong, one line a rule."""
        self.driver.execute_script(_axe().read_text(encoding="utf-8"))
        found = self.driver.execute_async_script(_AXE)
        assert isinstance(found, dict), found
        return [f"{v['id']}: {v['nodes'][0]['html'][:200]}" for v in found["violations"]]

    def printed(self) -> bytes:
        """The page as PDF."""
        how = {"preferCSSPageSize": True, "printBackground": True}
        return base64.b64decode(self.driver.execute_cdp_cmd("Page.printToPDF", how)["data"])

    def on_paper(self) -> None:
        """Show the page as it is printed."""
        self.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})

    def close(self) -> None:
        """Close the browser and its driver."""
        self.driver.quit()


def _axe() -> Path:
    return Path(axe_core_python.__file__).with_name("axe.min.js")


def open_browser(
    programs: tuple[str, str],
    profile: Path,
    *,
    width: int = 1200,
    height: int = 900,
    scheme: str = "light",
    scripts: bool = True,
) -> Browser:
    """An empty window of that size, in a light or dark scheme, with scripts or without."""
    options = Options()
    options.binary_location = programs[0]
    for flag in (*FLAGS, f"--user-data-dir={profile}", f"--window-size={width},{height}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(programs[1]))
    driver.set_script_timeout(_PATIENCE_S)
    size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False}
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    colours = {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", colours)
    if not scripts:
        driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    return Browser(driver)
