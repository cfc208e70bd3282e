"""`simcheck disperse` as a person runs it: killed, gone on with, and the same to the last byte."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from simcheck.cli.main import main
from tests.cases_for_tests import toml

SAMPLES = "3000"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a case of two members to keep clear of."""
    made = tmp_path_factory.mktemp("disperse")
    errors = {"thrust_bias": "0.05 %", "pointing_proportional": "0.05 deg"}
    ring = {"ring": {"slots": 3}, "craft": {"slot": 2}, "limits": {"separation": "20 km"}}
    text = toml({"errors": errors, **ring})
    for slot in (0, 1):
        text += f'[[ring.member]]\nname = "M{slot}"\nslot = {slot}\n'
    (made / "case.toml").write_text(text, encoding="utf-8")
    return made


def arguments(folder: Path, out: str, *options: str) -> list[str]:
    return [
        "disperse",
        str(folder / "case.toml"),
        "--samples",
        SAMPLES,
        "--out",
        str(folder / out),
        *options,
    ]


@pytest.fixture(scope="module")
def whole(folder: Path) -> bytes:
    """All rows of a run that nothing disturbed, by one worker."""
    main(arguments(folder, "whole", "--workers", "1", "--json"))
    return (folder / "whole" / "samples.parquet").read_bytes()


def start(folder: Path, out: str, *options: str) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "simcheck.cli.main", *arguments(folder, out, *options)]
    return subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def wait_for_chunks(path: Path, count: int) -> None:
    """Until this many chunks are there; the run may be over by then."""
    for _ in range(3000):
        if len(list(path.glob("chunk-*"))) >= count:
            return
        time.sleep(0.01)
    raise AssertionError("no chunk appeared")


def test_killed_twice_and_gone_on_with(folder: Path, whole: bytes) -> None:
    """kill -9 at two moments, other workers each time: in the end the same bytes."""
    for workers, chunks in (("2", 1), ("1", 2)):
        run = start(folder, "killed", "--workers", workers)
        wait_for_chunks(folder / "killed", chunks)
        run.send_signal(signal.SIGKILL)
        run.wait()
    assert not (folder / "killed" / "samples.parquet").exists()
    main(arguments(folder, "killed", "--workers", "2", "--json"))
    assert (folder / "killed" / "samples.parquet").read_bytes() == whole
    summary = (folder / "killed" / "summary.json").read_bytes()
    assert summary == (folder / "whole" / "summary.json").read_bytes()


def test_interrupted_it_says_how_to_go_on(folder: Path, whole: bytes, capsys: Any) -> None:
    """Ctrl-C ends with 130 and says that the same command goes on; it does."""
    command = [sys.executable, "-m", "simcheck.cli.main"]
    run = subprocess.Popen(
        [*command, *arguments(folder, "broken", "--workers", "1")],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    wait_for_chunks(folder / "broken", 1)
    run.send_signal(signal.SIGINT)
    out, err = run.communicate(timeout=60)
    assert run.returncode == 130
    assert "the same command goes on from there" in err
    assert "Traceback" not in err
    assert out == "" or "interrupted" in out  # nothing to sum up where no chunk was counted yet
    main(arguments(folder, "broken", "--json"))
    assert (folder / "broken" / "samples.parquet").read_bytes() == whole


def test_another_seed_does_not_mix(folder: Path, whole: bytes, capsys: Any) -> None:
    """The folder of one seed is not gone on with by another."""
    assert main(arguments(folder, "whole", "--seed", "9")) == 2
    assert "belongs to another run (seed was 0 and is 9 now)" in capsys.readouterr().err


def test_the_code_does_not_depend_on_the_format(folder: Path, whole: bytes, capsys: Any) -> None:
    """The same code as text and as JSON; the document has what the design asks for."""
    text = main(arguments(folder, "whole"))
    capsys.readouterr()
    code = main(arguments(folder, "whole", "--json"))
    assert code == text
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "simcheck.disperse/1"
    assert document == json.loads((folder / "whole" / "summary.json").read_text(encoding="utf-8"))
    assert [one["member"] for one in document["approaches"]]
    assert {"count", "low", "high"} <= set(document["separation"])
    for key in ("samples", "within", "percentiles", "drivers", "failures"):
        assert key in document
    assert set(document["within"]) >= {"count", "probability", "low", "high", "confidence"}
    assert {0: "met", 1: "not met", 4: "inconclusive"}[code] == document["decision"]


def test_a_sample_is_flown_again_alone(folder: Path, whole: bytes, capsys: Any) -> None:
    """`fly --sample N` gives the row of that sample, to the rounding of scalar against batch."""
    from pyarrow import parquet

    rows = parquet.read_table(folder / "whole" / "samples.parquet").to_pylist()
    capsys.readouterr()
    main(["fly", str(folder / "case.toml"), "--sample", "17", "--json"])
    document = json.loads(capsys.readouterr().out)
    assert abs(document["errors"]["period_s"] - rows[17]["period_s"]) < 1e-6
    assert abs(document["dv_used_m_s"] - rows[17]["dv_used_m_s"]) < 1e-9
    for name, part in document["components"].items():
        assert abs(part - rows[17][name]) < 1e-9
    members = list(dict.fromkeys(one["member"] for one in document["approaches"]))
    assert members
    for k, member in enumerate(members, start=1):
        near = [x["distance_m"] for x in document["approaches"] if x["member"] == member]
        assert abs(min(near) - rows[17][f"closest_{k}_m"]) < 1.0


def test_without_room_nothing_finished_is_lost(folder: Path, whole: bytes) -> None:
    """What a run left behind can be copied elsewhere and gone on with there."""
    shutil.copytree(folder / "whole", folder / "copy", dirs_exist_ok=True)
    os.unlink(folder / "copy" / "samples.parquet")  # noqa: PTH108
    os.unlink(folder / "copy" / "chunk-0000000500")  # noqa: PTH108
    main(arguments(folder, "copy", "--json"))
    assert (folder / "copy" / "samples.parquet").read_bytes() == whole
