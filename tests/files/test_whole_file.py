"""A file is in its place whole or not at all."""

from __future__ import annotations

from pathlib import Path

import pytest

from simcheck.files.whole_file import whole_file, write_whole


def test_it_appears_when_it_is_whole(tmp_path: Path) -> None:
    """Not before the block is over, and then with all that was written; nothing beside it."""
    path = tmp_path / "a"
    with whole_file(path) as beside:
        beside.write_bytes(b"one")
        assert not path.exists()
    assert path.read_bytes() == b"one"
    write_whole(path, b"two")
    assert path.read_bytes() == b"two"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("error", [ValueError, KeyboardInterrupt])
def test_what_fails_leaves_the_old_one(tmp_path: Path, error: type[BaseException]) -> None:
    """Broken off, what was there before stays, and nothing beside it."""
    path = tmp_path / "a"
    write_whole(path, b"old")

    def write() -> None:
        with whole_file(path) as beside:
            beside.write_bytes(b"half of the n")
            raise error

    with pytest.raises(error):
        write()
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_full_disk_leaves_the_old_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A disk that takes no more says so, and the old file stays."""
    path = tmp_path / "a"
    write_whole(path, b"old")

    def full(fd: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(OSError, match="No space"):
        write_whole(path, b"new")
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]
