"""The public verbs, wired to what does the work; no arithmetic here.

Over 400 lines, since the docstrings of all verbs are the reference.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from simcheck import judging
from simcheck.engines.choosing import fast_propagator
from simcheck.engines.gravity import gravity_of
from simcheck.files import case_toml, fleet_toml, plan_file, state_file
from simcheck.flying.advising import advise
from simcheck.flying.mission import fly_plan
from simcheck.flying.setbacks import setbacks as find_setbacks
from simcheck.flying.together import team_of
from simcheck.measuring import RingMotion, resolve_ring
from simcheck.planning.registry import planner as find_planner
from simcheck.records.advice import Advice
from simcheck.records.baseline import Regression, Trial
from simcheck.records.case import Case
from simcheck.records.comparison import Comparison
from simcheck.records.deep import DeepCheck
from simcheck.records.dispersion import Dispersion
from simcheck.records.estimate import Estimate
from simcheck.records.fleet import AssignAim, Assignment, Fleet, Minimise
from simcheck.records.flight import Flight, Verdict
from simcheck.records.hold import Hold, HoldAim
from simcheck.records.plan import Plan
from simcheck.records.reconstruction import Reconstruction
from simcheck.records.result import Result
from simcheck.records.setback import Setback
from simcheck.records.wish import Preference, Wish

if TYPE_CHECKING:
    from simcheck.dispersing.dispersal import Watcher
    from simcheck.records.dispersion import Rows
    from simcheck.regressing.running import Watcher as CaseWatcher

__all__ = [
    "accept",
    "assign",
    "compare",
    "disperse",
    "doublecheck",
    "fly",
    "hold",
    "judge",
    "load_case",
    "load_fleet",
    "plan",
    "read_plan",
    "read_state",
    "reconstruct",
    "regress",
    "resolved_ring",
    "setbacks",
    "trim",
    "write_advice",
    "write_figures",
    "write_message",
    "write_report",
]


_SPARE = 1.1  # of a hold, for the revolutions that its last trims take


def load_case(path: str | Path) -> Case:
    """Read a case file.

    Raises InputError with every fault of the file.
    """
    return case_toml.load_case(path)


def load_fleet(path: str | Path) -> Fleet:
    """Read a case file with several craft, [[craft]], or with one.

    Raises InputError with every fault of the file.
    """
    return fleet_toml.load_fleet(path)


def read_plan(path: str | Path, case: Case | None = None) -> Plan:
    """Read the plan from a document that `plan`, `check` or `fly` wrote with --json, or a message.

    A CCSDS OPM or OCM with manoeuvres is flown with the engines of the case, which it needs; of our
    own documents a case, where given, must have the engines that the plan commands. Raises
    InputError with every fault of the file.
    """
    return plan_file.read_plan(path, case)


def write_message(
    path: str | Path,
    case: Case,
    plan: Plan,
    flight: Flight | None = None,
    verdict: Verdict | None = None,
) -> None:
    """Write a plan as a CCSDS OPM or OCM, or its flight as an OEM, by the suffix of the path.

    With a flight and its verdict the manoeuvres say what became of the plan: planned, or as made.
    Raises InputError where the case has no epoch, or the file is there already.
    """
    from simcheck.files.message_file import write_message as write

    write(path, case, plan, flight, verdict)


def plan(
    case: Case,
    planner: str = "ring",
    *,
    prefer: Preference = "balance",
    effort: int = 1,
    seed: int = 0,
) -> Plan:
    """Plan the burns of a case with the planner registered under that name.

    prefer: "balance" takes the earliest of the nearly cheapest plans, "dv" the cheapest, "time" the
    earliest. effort multiplies the search's starts, of which seed draws those beyond the first
    helping; the same values give the same plan.

    Raises NoPlanError where no plan exists within the limits, naming the one that binds;
    InputError where there is no such planner; and PlannerError where it is the planner that fails.
    """
    return find_planner(planner)(case, Wish(prefer=prefer, effort=effort, seed=seed))


def fly(
    case: Case,
    plan: Plan,
    *,
    seed: int | None = None,
    sample: int | None = None,
    reference: bool = True,
    planner: str = "ring",
) -> Flight:
    """Fly a plan: perfectly, or with the errors drawn for sample number `sample` from `seed`.

    With errors, and where the case's operations say so, the flight team replans with the planner of
    that name, and trims; a perfect flight needs neither. reference flies it with the reference
    propagator too, which fills engine_disagreement_m.
    Raises FlightError where the flight cannot be computed.
    """
    team = None
    if sample is not None:
        team = team_of(case, plan, planner, find_planner(planner))
    return fly_plan(case, plan, seed=seed, sample=sample, reference=reference, team=team)


def read_state(path: str | Path, case: Case) -> Estimate:
    """Read a measured state: our JSON, a CCSDS OPM or a two-line element set.

    Raises InputError with every fault of the file.
    """
    return state_file.read_state(path, case)


def trim(
    case: Case,
    estimate: Estimate,
    planner: str = "ring",
    *,
    prefer: Preference = "balance",
) -> Advice:
    """What to do next from a measured state.

    prefer: "balance" waits no longer than saves a thousandth of the Δv left in the tank, "dv" waits
    for the cheapest, "time" takes the earliest. Raises NoPlanError where nothing can be done, and
    InputError for a state that is no orbit.
    """
    return advise(case, estimate, find_planner(planner), prefer)


def reconstruct(
    case: Case, plan: Plan, estimate: Estimate, before: Estimate | None = None
) -> Reconstruction:
    """The burn of a plan between two measured states, as it was made.

    The flight begins at `before`, or at the case's craft. Raises InputError where not exactly one
    burn lies between them.
    """
    from simcheck.flying.reconstructing import reconstruct as from_states

    return from_states(case, plan, estimate, before)


def write_advice(
    path: str | Path, case: Case, advice: Advice, made: Reconstruction | None = None
) -> None:
    """Write advice as a CCSDS OCM: the state, the burns to do next, and the burn just made.

    Raises InputError where the case has no epoch, or the file is there already.
    """
    from simcheck.files.message_file import write_advice as write

    write(path, case, advice, made)


def write_report(
    path: str | Path, result: str | Path | Result, *, case: str | Path | None = None
) -> None:
    """Write one self-contained HTML page of a result: what it says, its figures, how it was found.

    result is a document that a command printed with --json, a folder of `disperse --out`, or a
    record made here. case is the case file where the document does not find it. What is at the path
    is replaced. Raises InputError where the document is faulty, its case is not the one it was made
    of, or the page cannot be written.
    """
    from simcheck.files.page_file import write_page
    from simcheck.files.result_file import bodies_seen, read_result
    from simcheck.report.page.page import page

    found = result if isinstance(result, Result) else read_result(result, case)
    made = page(found if found.seen else replace(found, seen=bodies_seen(found.case)))
    write_page(path, made)


def setbacks(
    case: Case, plan: Plan, planner: str = "ring", *, workers: int = 1
) -> tuple[Setback, ...]:
    """What losing each burn of a plan, or half of it, takes to recover from.

    workers are processes that work it out side by side.
    """
    if workers == 1:
        return find_setbacks(case, plan, find_planner(planner))
    from simcheck.dispersing.executors import local

    with local(workers)() as executor:
        return find_setbacks(case, plan, find_planner(planner), executor)


def disperse(
    case: Case,
    plan: Plan,
    *,
    samples: int | None = None,
    seed: int = 0,
    workers: int = 1,
    out: str | Path | None = None,
    until_decided: bool = False,
    planner: str = "ring",
    dask: str | None = None,
    watcher: Watcher | None = None,
    rows: Callable[[Rows], None] | None = None,
) -> Dispersion:
    """Fly a plan many times with the case's errors drawn, and sum up.

    samples: those of the case's [dispersion] if None. out keeps finished flights in a folder and
    goes on from what is there; a finished run leaves there all rows in samples.parquet and what
    `disperse --json` prints in summary.json. workers are processes here; dask is a scheduler's
    address instead. rows is given those of all flights summed up, some at a time, in the end. The
    results depend on case, plan, seed and samples only. Raises InputError where the folder holds
    another run's flights.
    """
    from simcheck.dispersing.dispersal import CHUNK
    from simcheck.dispersing.dispersal import disperse as fly_all
    from simcheck.dispersing.executors import dask as on_dask
    from simcheck.dispersing.executors import local
    from simcheck.dispersing.flights import Job
    from simcheck.files.chunk_store import ChunkStore, MemoryStore, about_run
    from simcheck.files.row_file import RowFile
    from simcheck.files.run_folder import write_results
    from simcheck.records.dispersion import columns_of

    find_planner(planner)  # so that a wrong name is told before anything is flown
    job = Job(case=case, plan=plan, seed=seed, planner=planner)
    count = case.dispersion.samples if samples is None else samples
    store = MemoryStore() if out is None else ChunkStore(out, about_run(job), columns_of(case))
    workers = min(workers, -(-count // CHUNK[job.closed_loop]))  # the others would stand idle
    start = local(workers) if dask is None else on_dask(dask)
    with RowFile(out) as table:
        found = fly_all(
            job,
            count,
            store,
            table,
            start,
            workers,
            until_decided=until_decided,
            watcher=watcher,
        )
        if out is not None:
            write_results(Path(out), job, found, table.blocks(found.samples), resolved_ring(case))
        if rows is not None:
            for block in table.blocks(found.samples):
                rows(block)
    return found


def assign(
    fleet: Fleet,
    planner: str = "ring",
    *,
    minimise: Minimise | None = None,
    free_angle: bool | None = None,
    effort: int = 1,
    seed: int = 0,
    workers: int = 1,
    watcher: Callable[[str], None] | None = None,
) -> Assignment:
    """Find who of several craft goes to which slot, fly each, and see that they keep apart.

    minimise: "total-dv" the craft's Δv together, "largest-share" the largest share of its
    propellant that any uses, "time" the arrival of the last; what the fleet's file says if None.
    free_angle also looks for the ring's angle. workers are processes here; watcher is told what is
    done next. Raises NoPlanError naming the craft that cannot be placed, and InputError for an
    angle that a member fixes.
    """
    from simcheck.assigning.running import assign as assign_all
    from simcheck.dispersing.executors import local

    aim = AssignAim(
        minimise=minimise or fleet.aim.minimise,
        ring_angle=fleet.aim.ring_angle
        if free_angle is None
        else ("free" if free_angle else "fixed"),
    )
    asked = fleet_toml.aimed(fleet, aim)
    with local(workers)() as executor:
        return assign_all(
            asked,
            planner,
            find_planner(planner),
            executor,
            effort=effort,
            seed=seed,
            watcher=watcher,
        )


def regress(
    paths: str | Path | Iterable[str | Path],
    planner: str = "ring",
    *,
    effort: int = 1,
    samples: int = 200,
    workers: int = 1,
    watcher: CaseWatcher | None = None,
) -> Regression:
    """Plan and fly cases anew, and compare each with the baseline beside it.

    paths are case files, or folders that hold some. samples are the flights dispersed with each
    plan, of seed 0, where its case has errors; workers are processes here. A case that cannot be
    planned or flown is a result like any other. Raises InputError with the faults of all files.
    """
    from simcheck.dispersing.executors import local
    from simcheck.files.baselines import load_with_baselines
    from simcheck.regressing.running import regress as regress_all

    find_planner(planner)  # so that a wrong name is told before anything is planned
    jobs = load_with_baselines([paths] if isinstance(paths, str | Path) else paths)
    trial = Trial(planner=planner, effort=effort, samples=samples)
    hands = max(1, min(workers, len(jobs)))
    return regress_all(jobs, trial, local(hands), hands, watcher=watcher)


def accept(found: Regression) -> tuple[str, ...]:
    """Store what was found as the new baselines; returns the paths of those that changed.

    A value that has not drifted beyond its allowance keeps what its baseline says; a case that
    failed keeps its baseline whole. Raises InputError where a file cannot be written.
    """
    from simcheck.files.baselines import baseline_path, write_baseline
    from simcheck.regressing.accepting import accepted

    stored = []
    for case in found.cases:
        baseline = accepted(case, found.trial)
        if baseline is not None and write_baseline(case.path, baseline):
            stored.append(str(baseline_path(case.path)))
    return tuple(stored)


def judge(case: Case, flight: Flight) -> Verdict:
    """Judge a flight by the case's tolerances and limits."""
    return judging.judge(case, flight)


def doublecheck(case: Case, plan: Plan, flight: Flight) -> DeepCheck:
    """Compute a plan's perfect flight by other means: error bars, and whether its verdict is firm.

    Raises InputError for a flight whose errors were drawn.
    """
    from simcheck.doublechecking.deep import doublecheck as compute_otherwise

    return compute_otherwise(case, plan, flight)


def compare(case: Case, plan: Plan, other: Plan, other_case: Case | None = None) -> Comparison:
    """Set two plans of one case side by side, or each in a case of its own; both fly perfectly.

    Raises FlightError where one of the flights cannot be computed.
    """
    from simcheck.comparing import compare as side_by_side

    return side_by_side(case, plan, case if other_case is None else other_case, other)


def hold(
    case: Case,
    plan: Plan | None = None,
    *,
    seed: int | None = None,
    sample: int | None = None,
    planner: str = "ring",
    duration_s: float | None = None,
    upkeep: bool = True,
) -> Hold:
    """The finished ring over months and years: how it drifts, what keeping it costs, how it serves.

    plan brings the craft there, flown perfectly or, with a sample, with the errors drawn for it;
    without a plan the craft is taken as exactly on its slot, at the epoch. duration_s replaces the
    case's. Raises FlightError where there is no ring to hold, InputError where the ephemerides end
    before the hold does.
    """
    from simcheck.files.ephemeris import with_sun
    from simcheck.holding.holding import hold as follow

    if duration_s is not None:
        case = replace(case, hold=HoldAim(duration_s=duration_s))
    flight = None
    if plan is not None:
        flight = fly(case, plan, seed=seed, sample=sample, reference=False, planner=planner)
    begun = 0.0 if flight is None else flight.arcs[-1].end_s
    return follow(with_sun(case, begun + _SPARE * case.hold.duration_s), flight, upkeep=upkeep)


def write_figures(folder: str | Path, result: Result) -> tuple[Path, ...]:
    """Write the pictures of a result as PNG and SVG into a folder; returns their paths.

    Files of the same names are overwritten. Of a dispersion's rows the first 20,000 are drawn. The
    pictures themselves, and what draws each on an axis, are in `simcheck.report.figures`.
    """
    from simcheck.report.figures import gallery
    from simcheck.report.figures.picture import save

    return tuple(save(gallery.of(result, resolved_ring(result.case)), folder))


def resolved_ring(case: Case) -> RingMotion:
    """The ring's mean radius, period and node rate in the case's forces.

    Raises FlightError where they do not settle.
    """
    return resolve_ring(case.ring, fast_propagator(gravity_of(case)))
