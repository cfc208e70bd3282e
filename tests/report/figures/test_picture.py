"""A picture as SVG and as files: its words, its colours, what is left alone."""

from __future__ import annotations

import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import matplotlib.image
import numpy as np
import pytest
from matplotlib.axes import Axes

from simcheck.report.figures.picture import Picture, save, svg
from simcheck.report.figures.style import BLUE, COLOURS, INK, VERMILION, labels

TEXT = 'Lines & marks < 2 > 1, "quoted", #0072b2'


def lines(axis: Axes) -> None:
    axis.plot([0, 1, 2], [0, 1, 0], color=BLUE, marker="o", gid="a line")
    axis.plot([0, 1, 2], [1, 0, 1], color=VERMILION, ls="--", gid="a line")
    axis.text(1.0, 0.5, 'A <name> & id="x" #d55e00', color=INK)
    labels(axis, "time, s", "height, m")


PICTURE = Picture("two_lines", TEXT, "Two lines.", f"Alt: {TEXT}", lines)


def tags(text: str) -> str:
    return " ".join(re.findall(r"<[^<>]+>", text))


def test_svg_is_one_element_that_says_what_it_is() -> None:
    """No prolog, no fixed size; title and text alternative whole, whatever is in them."""
    text = svg(PICTURE)
    assert text.startswith("<svg ")
    root = ET.fromstring(text)
    assert root.attrib["role"] == "img"
    assert "width" not in root.attrib
    assert [float(x) for x in root.attrib["viewBox"].split()] == [0, 0, 7.2 * 72, 3.2 * 72]
    title, desc = root[0], root[1]
    assert (title.text, desc.text) == (TEXT, f"Alt: {TEXT}")
    named = root.attrib["aria-labelledby"].split()
    assert [title.attrib["id"], desc.attrib["id"]] == named
    assert "DOCTYPE" not in text
    assert "<style" not in text


def test_text_stays_text_in_the_fonts_of_the_page() -> None:
    """Even a name that looks like markup or like a colour."""
    text = svg(PICTURE)
    root = ET.fromstring(text)
    written = [e.text for e in root.iter("{http://www.w3.org/2000/svg}text")]
    assert 'A <name> & id="x" #d55e00' in written
    assert "time, s" in written
    assert "system-ui" in tags(text)
    assert "DejaVu" not in text


def test_colours_are_the_pages() -> None:
    """Variables in a page, plain colours in a file."""
    text = tags(svg(PICTURE))
    for name in ("ink", "muted", "grid", "c1", "c2"):
        assert f"var(--{name})" in text
    assert not re.search(r"#[0-9a-f]{6}\b", text.replace("href", ""))
    assert set(COLOURS) >= {"ink", "muted", "grid", "paper", *(f"c{k}" for k in range(1, 8))}


def test_colours_are_those_of_okabe_and_ito() -> None:
    """Okabe and Ito (2008), the table of their palette in RGB; black is the ink's."""
    table = {
        (230, 159, 0), (86, 180, 233), (0, 158, 115), (240, 228, 66), (0, 114, 178), (213, 94, 0),
        (204, 121, 167),
    }  # fmt: skip
    ours = {tuple(int(COLOURS[f"c{k}"][i : i + 2], 16) for i in (1, 3, 5)) for k in range(1, 8)}
    assert ours == table


def test_two_pictures_share_no_id() -> None:
    """And the same picture is the same text, byte for byte."""
    other = PICTURE._replace(name="two_lines_more")
    one, two = (re.findall(r'\bid="([^"]*)"', tags(svg(p))) for p in (PICTURE, other))
    assert len(one) > 2
    assert not set(one) & set(two)
    assert svg(PICTURE) == svg(PICTURE)


def test_files_for_slides(tmp_path: Path) -> None:
    """A PNG that is not blank and has its words; an SVG in plain colours; others left alone."""
    folder = tmp_path / "made" / "here"
    folder.mkdir(parents=True)
    other = folder / "notes.txt"
    other.write_text("mine", encoding="utf-8")
    (folder / "two_lines.png").write_bytes(b"an older one")
    written = save([PICTURE], folder)
    assert [path.name for path in written] == ["two_lines.png", "two_lines.svg"]
    pixels = matplotlib.image.imread(written[0])
    assert pixels.shape[:2] == (640, 1440)  # 200 dots an inch
    assert np.unique(pixels.reshape(-1, pixels.shape[-1]), axis=0).shape[0] > 50
    assert np.allclose(pixels[0, 0], 1.0)  # white paper
    text = written[1].read_text(encoding="utf-8")
    assert ET.fromstring(text)[1].text == f"Alt: {TEXT}"
    assert "var(" not in text
    assert BLUE in tags(text)
    assert other.read_text(encoding="utf-8") == "mine"


def test_a_folder_is_made(tmp_path: Path) -> None:
    assert all(path.is_file() for path in save([PICTURE], tmp_path / "a" / "b"))


@pytest.mark.parametrize("command", [[], ["check"], ["disperse"], ["hold"]])
def test_help_imports_no_matplotlib(command: list[str]) -> None:
    """Start-up stays short where nothing is drawn."""
    program = (
        "import sys\n"
        "from simcheck.cli.main import main\n"
        f"main([*{command!r}, '--help'])\n"
        "sys.exit('matplotlib' in sys.modules)\n"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, check=False)
    assert done.returncode == 0, done.stderr.decode()
