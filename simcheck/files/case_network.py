"""The [network] table and the [[site]] tables: what the finished ring is asked to serve.

Read and written back. A power may be a level, "-130 dBm" or "-160 dBW"; it is kept in W.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

from simcheck.files.case_faults import shown
from simcheck.files.case_tables import Table
from simcheck.files.settings_text import LENGTHS, Keys, angle_of, quoted, text_of
from simcheck.records.case import Body
from simcheck.records.network import LinkBudget, NetworkAim, Site

_QUARTER_TURN = math.pi / 2.0 * (1.0 + 1e-12)  # 90 deg, whatever the unit that it was written in
_MOST_DB = 200.0  # of a gain, a loss or a margin: beyond any antenna's
_MOST_DBW = 240.0  # the largest and smallest powers that `units` takes, 1e24 and 1e-24 W
_LEVEL = re.compile(
    r"\s*([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+))\s*(?:dB\s?\((m?W)\)|dB(m|W))\s*", re.ASCII
)
_POWER = "a power in W, dBm or dBW"


def read_network(top: Table, body: Body | None) -> NetworkAim:
    """[network] with its [network.link], and every [[site]]."""
    table = top.table("network")
    if table is None:
        return NetworkAim(sites=_read_sites(top, body, 0.0))
    elevation = _elevation(table, 0.0)
    aim = NetworkAim(
        grazing_height_m=table.quantity(
            "grazing_height", "length", "100 km", default=0.0, at_least=0.0
        ),
        max_range_m=table.quantity("max_range", "length", "40000 km", default=math.inf, above=0.0),
        min_elevation_rad=elevation,
        link=_read_link(table),
        sites=_read_sites(top, body, elevation),
    )
    table.close()
    return aim


def _elevation(table: Table, default: float) -> float:
    return table.quantity(
        "min_elevation",
        "angle",
        "10 deg",
        default=default,
        at_least=0.0,
        below=math.pi / 2.0,
    )


def _read_link(parent: Table) -> LinkBudget | None:
    table = parent.table("link")
    if table is None:
        return None

    def level(key: str, example: str, least: float) -> float:
        return table.quantity(
            key, "decibels", example, default=0.0, at_least=least, at_most=_MOST_DB
        )

    budget = LinkBudget(
        frequency_hz=table.quantity("frequency", "frequency", "2.2 GHz", above=0.0),
        power_w=_power(table, "power", "5 W"),
        sensitivity_w=_power(table, "sensitivity", "-130 dBm"),
        transmit_gain_db=level("transmit_gain", "6 dB", -_MOST_DB),
        receive_gain_db=level("receive_gain", "6 dB", -_MOST_DB),
        losses_db=level("losses", "1 dB", 0.0),
        margin_db=level("margin", "3 dB", 0.0),
    )
    table.close()
    return budget


def _power(table: Table, key: str, example: str) -> float:
    """A power in W, given as such or as a level over 1 mW or 1 W; NaN after a fault."""
    given = table.raw(key)
    match = _LEVEL.fullmatch(given) if isinstance(given, str) else None
    if match is None:
        return table.quantity(key, "power", example, above=0.0, what=f"{_POWER} with its unit")
    unit = match.group(2) or match.group(3)
    dbw = float(match.group(1)) - (0.0 if unit == "W" else 30.0)
    if not abs(dbw) <= _MOST_DBW:
        table.fault(
            key,
            f"expected {_POWER} from -240 to 240 dBW, got {shown(given)}; "
            f'write {key} = "{example}"',
        )
        return math.nan
    return float(10.0 ** (dbw / 10.0))


def _read_sites(top: Table, body: Body | None, elevation: float) -> tuple[Site, ...]:
    """Every [[site]]; their names are their own, and the body must turn."""
    sites: list[Site] = []
    names: set[str] = set()
    tables = top.tables("site")
    for table in tables:
        name = table.text("name", "Base")
        if name is not None and name in names:
            table.fault("name", f"{shown(name)} is taken; give each site a name of its own")
        names.add(name or "")
        sites.append(_read_site(table, name, body, elevation))
    if tables and body is not None and body.rotation_period_s is None:
        tables[0].fault(
            None,
            f"the surface of {body.name} turns at a rate that is not known; "
            'write rotation_period = "24.623 h" in [body]',
        )
    return tuple(sites)


def _read_site(table: Table, name: str | None, body: Body | None, elevation: float) -> Site:
    deepest = None if body is None else -body.radius_m
    site = Site(
        name=str(name),
        latitude_rad=table.quantity(
            "latitude", "angle", "18.4 deg", at_least=-_QUARTER_TURN, at_most=_QUARTER_TURN
        ),
        longitude_rad=table.quantity("longitude", "angle", "77.5 deg"),
        altitude_m=table.quantity("altitude", "length", "0 km", default=0.0, above=deepest),
        min_elevation_rad=_elevation(table, elevation),
    )
    table.close()
    return site


# ------------------------------------------------------------------------------- the way back


def network_tables(aim: NetworkAim) -> list[tuple[str, Keys]]:
    """The tables that `read_network` reads as this aim; keys at their defaults are left out."""
    tables = [("[network]", _network_keys(aim))]
    if aim.link is not None:
        tables.append(("[network.link]", _link_keys(aim.link)))
    return tables + [("[[site]]", _site_keys(site, aim.min_elevation_rad)) for site in aim.sites]


def _network_keys(aim: NetworkAim) -> Keys:
    if aim.grazing_height_m:
        yield "grazing_height", quoted(aim.grazing_height_m, "length", LENGTHS)
    if math.isfinite(aim.max_range_m):
        yield "max_range", quoted(aim.max_range_m, "length", LENGTHS)
    if aim.min_elevation_rad:
        yield "min_elevation", angle_of(aim.min_elevation_rad)


def _link_keys(link: LinkBudget) -> Keys:
    yield "frequency", quoted(link.frequency_hz, "frequency", ("GHz", "MHz", "Hz"))
    yield "power", quoted(link.power_w, "power", ("W",))
    yield "sensitivity", quoted(link.sensitivity_w, "power", ("W",))
    yield from _levels(link)


def _levels(link: LinkBudget) -> Iterator[tuple[str, str]]:
    levels = {
        "transmit_gain": link.transmit_gain_db,
        "receive_gain": link.receive_gain_db,
        "losses": link.losses_db,
        "margin": link.margin_db,
    }
    for key, value in levels.items():
        if value:
            yield key, quoted(value, "decibels", ("dB",))


def _site_keys(site: Site, elevation: float) -> Keys:
    yield "name", text_of(site.name)
    yield "latitude", angle_of(site.latitude_rad)
    yield "longitude", angle_of(site.longitude_rad)
    if site.altitude_m:
        yield "altitude", quoted(site.altitude_m, "length", LENGTHS)
    if site.min_elevation_rad != elevation:
        yield "min_elevation", angle_of(site.min_elevation_rad)
