"""How a long run comes along, on stderr: a line that changes on a terminal, else one per 10 %."""

from __future__ import annotations

import sys
import time
from typing import TYPE_CHECKING

from simcheck.cli.screen import tell

if TYPE_CHECKING:
    from simcheck.dispersing.dispersal import Progress

_EVERY_S = 0.2


class Ticker:
    """Says how many flights are done, how fast, and how long the rest takes."""

    def __init__(self) -> None:
        self.began = time.monotonic()
        self.said, self.tenth, self.held = 0.0, 0, -1
        self.live = sys.stderr.isatty()

    def __call__(self, progress: Progress) -> None:
        """Called after each chunk."""
        now = time.monotonic()
        if self.held < 0:
            self.held = progress.done  # most of what comes at once was kept from an earlier run
        text = self._text(progress, now - self.began)
        if self.live:
            if now - self.said > _EVERY_S or progress.done == progress.samples:
                sys.stderr.write(f"\r{text:<79}")
                sys.stderr.flush()
                self.said = now
        elif progress.done * 10 // progress.samples > self.tenth:
            self.tenth = progress.done * 10 // progress.samples
            tell(text)

    def _text(self, progress: Progress, seconds: float) -> str:
        rate = progress.done / max(seconds, 1e-9)
        left = (progress.samples - progress.done) / rate
        return (
            f"{progress.done} of {progress.samples} flights, {progress.within} within, "
            f"{rate:.3g} a second, {left:.0f} s left"
        )

    def close(self) -> None:
        """End the line that changes."""
        if self.live and self.said:
            sys.stderr.write("\n")
            sys.stderr.flush()
