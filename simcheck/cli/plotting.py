"""--plot: the pictures of a result, written for slides."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from simcheck.cli.screen import busy, tell
from simcheck.errors import InputError
from simcheck.report.words import count

if TYPE_CHECKING:
    from simcheck.records.dispersion import Rows
    from simcheck.records.result import Result

_MOST_ROWS = 20_000


def plotted(folder: str | None, result: Result) -> None:
    """Write the pictures of a result into a folder, if there is one, and say so on stderr.

    Raises InputError where they cannot be written there.
    """
    if folder is None:
        return
    from simcheck import api

    with busy("drawing"):
        try:
            written = api.write_figures(folder, result)
        except (FileExistsError, NotADirectoryError, PermissionError) as error:
            raise InputError(
                f"--plot: {folder} cannot be written: {error.strerror}; name a folder that can be,"
                " such as --plot figures"
            ) from None
    names = list(dict.fromkeys(path.stem for path in written))
    tell(
        f"simcheck: {count(len(names), 'picture')} in {Path(folder)}, each as PNG and SVG:"
        f" {', '.join(names)}"
    )


class FirstRows:
    """Keeps the first of a dispersion's rows, as many as a picture draws."""

    def __init__(self) -> None:
        self._blocks: list[Rows] = []

    def __call__(self, block: Rows) -> None:
        """Take some rows, in order."""
        room = _MOST_ROWS - sum(len(one) for one in self._blocks)
        if room > 0:
            self._blocks.append(block[:room].copy())

    @property
    def kept(self) -> Rows | None:
        """The rows kept, None where there are none."""
        import numpy as np  # a tenth of a second of start-up, for this only

        return np.concatenate(self._blocks) if self._blocks else None
