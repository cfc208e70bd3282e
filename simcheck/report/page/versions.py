"""What a result was computed with, as far as this machine can tell: versions and platform."""

from __future__ import annotations

import platform
from importlib.metadata import PackageNotFoundError, version

from simcheck.version import VERSION

_LIBRARIES = ("numpy", "scipy", "heyoka", "astropy", "pyerfa", "sgp4", "pyarrow", "matplotlib")


def versions() -> dict[str, str]:
    """Name and version of this program, Python, the libraries and the system."""
    return {
        "simcheck": VERSION,
        "Python": f"{platform.python_version()} ({platform.python_implementation()})",
        **{name: _installed(name) for name in _LIBRARIES},
        "platform": platform.platform(terse=True),
        "machine": platform.machine() or "not known",
    }


def _installed(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "not installed"
