"""Times PyKrige on the grid that our bench made, and sets both times side by side.

Called by `cargo xtask bench` with the bench's file and the words for this line of the table. Before
any time is printed the results must be the same. PyKrige's time is that of `execute` alone, of the
faster of its two backends that suit; ours is fit and grid together. Of each the least disturbed run.
"""

import json
import sys
import time
import warnings

import numpy as np

warnings.filterwarnings("ignore")

REPEATS = 5
# Ours in milliseconds at most, and how many times faster, as wanted.
GOAL_MS, GOAL_RATIO = 150.0, 5.0


def main():
    from pykrige.ok import OrdinaryKriging

    with open(sys.argv[1], encoding="utf-8") as file:
        ours = json.load(file)
    words = sys.argv[2]
    places, model = np.array(ours["places"]), ours["model"]
    values = np.array(ours["values"])
    theirs = OrdinaryKriging(
        places[:, 0],
        places[:, 1],
        values,
        variogram_model="spherical",
        variogram_parameters={
            "psill": model["partial_sill"], "range": model["range"], "nugget": model["nugget"]
        },
    )
    xs, ys = np.array(ours["xs"]), np.array(ours["ys"])
    times = {}
    for backend in ("vectorized", "C"):
        try:
            for _ in range(REPEATS):
                started = time.perf_counter()
                estimates, variances = theirs.execute("grid", xs, ys, backend=backend)
                times.setdefault(backend, []).append(time.perf_counter() - started)
        except (ImportError, ValueError):
            times.pop(backend, None)
            continue
        sill = model["partial_sill"] + model["nugget"]
        step = ours["step"]
        off = np.max(np.abs(np.asarray(estimates).ravel()[::step] - ours["estimates"]))
        off_variance = np.max(np.abs(np.asarray(variances).ravel()[::step] - ours["variances"]))
        if not (off <= 1e-9 * values.std(ddof=1) and off_variance <= 1e-9 * sill):
            said = f"{words}: the results differ, by {off:.1e} and {off_variance:.1e}"
            print(said, file=sys.stderr)
            return 1
    fastest = min(times, key=lambda backend: min(times[backend]))
    rival = 1e3 * min(times[fastest])
    own = 1e3 * min(ours["seconds"])
    met = "met" if own <= GOAL_MS and rival / own >= GOAL_RATIO else "NOT MET"
    rival_words = f"{rival:.0f} ms ({fastest})"
    goal = f"{GOAL_MS:.0f} ms, {GOAL_RATIO:.0f} times"
    print(f"{words:34}  {own:7.0f} ms  {rival_words:>22}  {rival / own:5.1f}  {goal}: {met}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
