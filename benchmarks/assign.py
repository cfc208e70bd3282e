"""How long `simcheck assign` takes for six craft and six slots, from the start of a fresh process.

    python benchmarks/assign.py [--duration "16 h"] [--minimise time] [--workers 2] [--rounds 3]

The case is six_craft.toml. Where days are allowed (as it says) six plans of 36 prove the best
assignment; a short --duration makes what a craft pays depend on its slot, so that most are planned.
CPU seconds stand beside, for a machine that has others to serve.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

CASE = Path(__file__).with_name("six_craft.toml")


def timed(path: Path, words: list[str]) -> tuple[float, float, int]:
    """Seconds of the clock and of the processors, and how many pairs were planned."""
    command = [sys.executable, "-m", "simcheck.cli.main", "assign", str(path), "--json", *words]
    began, cpu = time.perf_counter(), os.times()
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    seconds, now = time.perf_counter() - began, os.times()
    spent = now.children_user - cpu.children_user + now.children_system - cpu.children_system
    pairs = json.loads(done.stdout)["pairs"]
    return seconds, spent, sum(pair["known"] in {"planned", "no plan"} for pair in pairs)


def main() -> None:
    """Print a line a round."""
    asked = argparse.ArgumentParser(description="Six craft to six slots, from process start.")
    asked.add_argument("--duration", default="10 d")
    asked.add_argument("--minimise", default="total-dv")
    asked.add_argument("--workers", default="2")
    asked.add_argument("--rounds", type=int, default=3)
    options = asked.parse_args()
    text = CASE.read_text(encoding="utf-8")
    text = re.sub(r'(?m)^duration = ".*"', f'duration = "{options.duration}"', text)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / CASE.name
        path.write_text(text, encoding="utf-8")
        for _ in range(options.rounds):
            seconds, spent, planned = timed(
                path, ["--minimise", options.minimise, "--workers", options.workers]
            )
            print(f"{seconds:6.1f} s, {spent:6.1f} s of CPU, {planned} of 36 pairs planned")


if __name__ == "__main__":
    main()
