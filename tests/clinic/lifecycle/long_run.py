"""`python -m tests.clinic.lifecycle.long_run [sequences] [steps] [seed]`: the machine as long as one likes;
the cells it reached, the rate and the refusals are printed, also when it is interrupted. SQLite in
memory, or the server that DATABASE_URL names. SHRINK=0 stops at a fault without making it smaller; TELL=1
counts the events. A line after every twenty sequences says how far it came, so that what ran counts however
it ends; runs of different seeds may be summed.
"""

from __future__ import annotations

import gc
import os
import signal
import sys
import time
import traceback

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clinic.config.settings_test")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("PYTEST_DB", ":memory:")
django.setup()

#: After how many sequences it says how far it came.
TOLD = 20


def main(sequences: int = 100, steps: int = 60, seed: int = 0) -> int:
    from django.db import connection
    from hypothesis import HealthCheck, Phase, settings
    from hypothesis import seed as seeded
    from hypothesis.stateful import run_state_machine_as_test

    from tests.clinic.lifecycle import coarse, machine, world

    # Stopped from outside, it tells what it did so far.
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    connection.creation.create_test_db(verbosity=0, autoclobber=True)
    began, busy = time.perf_counter(), time.process_time()
    phases = (Phase.generate, Phase.shrink) if os.environ.get("SHRINK", "1") == "1" else (Phase.generate,)
    chosen = settings(
        max_examples=sequences,
        stateful_step_count=steps,
        deadline=None,
        database=None,
        phases=phases,
        print_blob=False,
        suppress_health_check=list(HealthCheck),
    )
    fault = 0

    class Told(machine.Case):
        """The same, telling how far it came."""

        def teardown(self) -> None:
            super().teardown()
            if world.SEQUENCES[0] % TOLD == 0:
                print(
                    f"so far {world.SEQUENCES[0]} sequences, {world.STEPS[0]} steps, "
                    f"{sum(world.DONE.values())} events done, {sum(world.REFUSED.values())} refused, "
                    f"{len(world.cells_of_run()[1])} cells, 0 laws broken, "
                    f"{time.process_time() - busy:.0f} s of processor time",
                    flush=True,
                )

    with coarse.plans():
        machine.prepare()
        # What stands now is not looked through again and again, and what comes is, but seldom.
        gc.freeze()
        gc.set_threshold(300_000, 50, 1_000)
        began, busy = time.perf_counter(), time.process_time()
        try:
            run_state_machine_as_test(seeded(seed)(Told), settings=chosen)
        except KeyboardInterrupt:
            print("interrupted; so far:")
        except Exception:  # any fault ends the run, and is told with its steps
            traceback.print_exc()
            fault = 1
    whole, reached = world.cells_of_run()
    print(f"laws broken: {fault}")
    n = sum(world.DONE.values())
    spent = time.process_time() - busy
    print(
        f"{world.SEQUENCES[0]} sequences of up to {steps}: {n} events done, "
        f"{sum(world.REFUSED.values())} refused, {time.perf_counter() - began:.0f} s, "
        f"{spent:.0f} s of processor time; {len(reached)} of {len(whole)} cells"
    )
    for cell in sorted(whole - reached):
        print("  not reached:", *cell)
    if os.environ.get("TELL"):
        for (event, words), count in world.SENTENCES.most_common(60):
            print(f"  {count:5} {event}: {words}")
        for event in machine.EVENTS:
            print(f"  {event}: {world.DONE[event]} done, {world.REFUSED[event]} refused")
    return fault


if __name__ == "__main__":
    sys.exit(main(*(int(word) for word in sys.argv[1:])))
