"""The oven solvers of the library ``discrete-optimization``, each for a given time; see `oven_peer`.

Solvers that need a licence, or a server, are left out. `best` is what the benchmark uses.
"""

from __future__ import annotations

import math
import random
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from typing import Any

from discrete_optimization.generic_tools.callbacks.early_stoppers import TimerStopper
from discrete_optimization.generic_tools.cp_tools import ParametersCp
from discrete_optimization.generic_tools.ls.local_search import ModeMutation, RestartHandlerLimit
from discrete_optimization.generic_tools.ls.simulated_annealing import SimulatedAnnealing, TemperatureSchedulingFactor
from discrete_optimization.ovensched import solution_vector as decoding
from discrete_optimization.ovensched.solution_vector import VectorOvenSchedulingSolution
from discrete_optimization.ovensched.solvers.cpsat import OvenSchedulingCpSatSolver
from discrete_optimization.ovensched.solvers.dp import DpOvenSchedulingSolver
from discrete_optimization.ovensched.solvers.heuristic import HeuristicOvenSchedulingSolver
from discrete_optimization.ovensched.solvers.mutations import ScheduleAwareMixedMutation

WORKERS = 2
"""Workers, threads or processes, as many as ours."""

START_SHARE = 0.3
"""Share of the time for the schedule that CP-SAT starts from [-]."""

LARGEST_EXACT = 50
"""Most jobs for which CP-SAT gets a batch for every job in every oven, so that its bound is one of the problem."""

SPARE_BATCHES = 3
"""Beyond, it gets so many more batches an oven than its first schedule has."""

NO_END = 10**9

_close_oldest_batch = decoding._close_oldest_batch


@dataclass(frozen=True)
class PeerFound:
    """Schedules of the library's to choose from, and a bound on every schedule's cost (0: none)."""

    solutions: tuple[Any, ...]
    bound: int = 0


Solver = Callable[[Any, float, int], PeerFound]


def heuristic(problem: Any, seconds: float, seed: int) -> PeerFound:
    """Greedy construction, ruined and rebuilt."""
    random.seed(seed)
    solver = HeuristicOvenSchedulingSolver(problem)
    found = solver.solve(callbacks=[TimerStopper(seconds)], num_local_search_iterations=NO_END, cooling_rate=0.999)
    return PeerFound((found.get_best_solution(),))


def annealing(problem: Any, seconds: float, seed: int) -> PeerFound:
    """Simulated annealing on the order of jobs, from the one by latest end."""
    random.seed(seed)
    order = sorted(range(problem.n_jobs), key=lambda job: problem.tasks_data[job].latest_end)
    decoding._close_oldest_batch = _close_by_published_rules
    restarts = RestartHandlerLimit(5000)
    solver = SimulatedAnnealing(
        problem=problem,
        mutator=ScheduleAwareMixedMutation(problem),
        restart_handler=restarts,
        temperature_handler=TemperatureSchedulingFactor(
            initial_temperature=0.1 * problem.additional_data["weight_tardiness"],
            restart_handler=restarts,
            cooling_factor=0.9999,
        ),
        mode_mutation=ModeMutation.MUTATE,
    )
    start = VectorOvenSchedulingSolution(problem, order)
    found = solver.solve(NO_END, initial_variable=start, callbacks=[TimerStopper(seconds)])
    return PeerFound((found.get_best_solution().to_oven_scheduling_solution(),))


def dynamic(problem: Any, seconds: float, seed: int, threads: int = WORKERS, grows: bool = False) -> PeerFound:
    """Complete anytime beam search over the library's dynamic program; it leaves schedules out, so it bounds none."""
    solver = DpOvenSchedulingSolver(problem)
    solver.init_model(allow_batch_duration_update=grows)
    found = solver.solve(time_limit=seconds, threads=threads, quiet=True)
    return PeerFound((found.get_best_solution(),) if len(found) else ())


def growing(problem: Any, seconds: float, seed: int) -> PeerFound:
    """The same, with batches that may grow longer."""
    return dynamic(problem, seconds, seed, grows=True)


def constraint(problem: Any, seconds: float, seed: int, start: Solver | None = None) -> PeerFound:
    """CP-SAT, alone or from another solver's schedule."""
    begun = time.monotonic()
    started = start(problem, START_SHARE * seconds, seed).solutions if start is not None else ()
    first = next((one for one in started if problem.satisfy(one)), None)
    solver = PublishedRules(problem)
    batches = None
    if problem.n_jobs > LARGEST_EXACT and first is not None:
        batches = first.get_max_nb_batch_per_machine() + SPARE_BATCHES
    solver.init_model(max_nb_batch_per_machine=batches or problem.n_jobs)
    if first is not None:
        solver.set_warm_start(first)
    found = solver.solve(
        time_limit=max(1.0, seconds - (time.monotonic() - begun)),
        parameters_cp=ParametersCp(intermediate_solution=True, multiprocess=True, nb_process=WORKERS),
        ortools_cpsat_solver_kwargs={"random_seed": seed},
    )
    solutions = (*started, *([found.get_best_solution()] if len(found) else []))
    bound = solver.get_current_best_internal_objective_bound()
    return PeerFound(solutions, math.ceil(bound - 1e-6) if bound is not None and batches is None else 0)


def pair(problem: Any, seconds: float, seed: int) -> PeerFound:
    """Annealing and the dynamic program at once, a process each."""
    with ProcessPoolExecutor(1) as pool:
        other = pool.submit(dynamic, problem, seconds, seed, 1)
        return PeerFound((*annealing(problem, seconds, seed).solutions, *other.result().solutions))


def from_annealing(problem: Any, seconds: float, seed: int) -> PeerFound:
    """CP-SAT from an annealed schedule."""
    return constraint(problem, seconds, seed, annealing)


def from_dynamic(problem: Any, seconds: float, seed: int) -> PeerFound:
    """CP-SAT from the dynamic program's schedule."""
    return constraint(problem, seconds, seed, dynamic)


def _close_by_published_rules(problem: Any, oven: int, open_batches: Any, schedule: Any) -> None:
    """The decoder's step that times a batch, with the setup inside the time of availability."""
    _close_oldest_batch(problem, oven, open_batches, schedule)
    before, batch = schedule[oven][-2:-1], schedule[oven][-1]
    machine = problem.machines_data[oven]
    had = before[0].task_attribute if before else machine.initial_attribute
    setup = problem.setup_times[had][batch.task_attribute]
    arrived = max(problem.tasks_data[job].earliest_start for job in batch.tasks)
    ready = max(arrived, setup + (before[0].end_time if before else 0))
    length = batch.end_time - batch.start_time
    places = ((max(ready, opens + setup), closes) for opens, closes in machine.availability)
    start = min((begin for begin, closes in places if begin + length <= closes), default=max(ready, NO_END))
    batch.start_time, batch.end_time = start, start + length


class PublishedRules(OvenSchedulingCpSatSolver):
    """The library's model, with setups inside the times of availability as the problem's paper has it."""

    def _add_setup_constraints(self) -> None:
        super()._add_setup_constraints()
        for oven, machine in enumerate(self.problem.machines_data):
            edges = [0, *(edge for span in machine.availability for edge in span)]
            closed = [
                self.cp_model.new_fixed_size_interval_var(begin, end - begin, f"closed_{oven}_{begin}")
                for begin, end in zip(edges[::2], edges[1::2], strict=False)
                if begin < end
            ]
            with_setup = []
            for batch, present in enumerate(self.variables["batch_present"][oven]):
                setup = self.variables["setup_time"][oven][batch]
                end = self.variables["batch_end"][oven][batch]
                begin = self.cp_model.new_int_var(0, edges[-1], f"setup_begin_{oven}_{batch}")
                length = self.cp_model.new_int_var(0, edges[-1], f"setup_and_batch_{oven}_{batch}")
                self.cp_model.add(length == setup + self.variables["batch_duration"][oven][batch])
                name = f"with_setup_{oven}_{batch}"
                with_setup.append(self.cp_model.new_optional_interval_var(begin, length, end, present, name))
            self.cp_model.add_no_overlap(with_setup + closed)


def best(problem: Any, seconds: float, seed: int) -> PeerFound:
    """What does best: CP-SAT from an annealed schedule where it can prove something, else the pair."""
    return (from_annealing if problem.n_jobs <= LARGEST_EXACT else pair)(problem, seconds, seed)


SOLVERS: dict[str, Solver] = {
    "heuristic": heuristic,
    "annealing": annealing,
    "dynamic": dynamic,
    "growing": growing,
    "constraint": constraint,
    "from_annealing": from_annealing,
    "from_dynamic": from_dynamic,
    "pair": pair,
    "best": best,
}
