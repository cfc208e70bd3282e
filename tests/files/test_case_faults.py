"""A table or key that there is not: the one that may have been meant, for every table."""

from __future__ import annotations

import pytest

from simcheck.errors import InputError
from simcheck.files.case_toml import read_case
from tests.cases_for_tests import toml


def faults(extra: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        read_case((toml() + extra).encode("utf-8"), "c.toml")
    return list(caught.value.faults)


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("[netwrok]", "network"),
        ("[hodl]", "hold"),
        ("[[sites]]", "site"),
        ("[[thirdbody]]", "third_body"),
        ("[sunlite]", "sunlight"),
        ("[asign]", "assign"),
        ("[eror]", "errors"),
    ],
)
def test_an_unknown_table_is_guessed(typed: str, meant: str) -> None:
    """The fault names the table and the one that is most like it."""
    found = faults(f"{typed}\n")
    assert [line.partition(": ")[2] for line in found] == [
        f"[{typed.strip('[]')}]: unknown table; did you mean {meant}?"
    ]


@pytest.mark.parametrize(
    ("table", "typed", "meant"),
    [
        ("[network]", 'max_rnge = "1 km"', "max_range"),
        ("[network.link]", 'freqency = "1 GHz"', "frequency"),
        ("[hold]", 'duratoin = "1 yr"', "duration"),
        ("[[site]]", 'latitud = "1 deg"', "latitude"),
        ("[[third_body]]", 'semi_major_axes = "1e8 km"', "semi_major_axis"),
        ("[sunlight]", "reflectvity = 1.2", "reflectivity"),
        ("[assign]", 'minimize = "time"', "minimise"),
    ],
)
def test_an_unknown_key_is_guessed(table: str, typed: str, meant: str) -> None:
    """The fault stands at the key's line and names the key that is most like it."""
    key = typed.partition(" ")[0]
    line = toml().count("\n") + 2
    found = [fault for fault in faults(f"{table}\n{typed}\n") if "unknown key" in fault]
    number = " #1" if table.startswith("[[") else ""
    assert found == [f"c.toml:{line}: {table}{number} {key}: unknown key; did you mean {meant}?"]


@pytest.mark.parametrize("table", ["hold", "network", "sunlight", "assign"])
def test_what_is_no_table_is_named_as_one(table: str) -> None:
    """A list where one table is due: the fault has the table's name in brackets."""
    assert f"[{table}]: expected one table, got a list of tables" in faults(f"[[{table}]]\n")[0]
