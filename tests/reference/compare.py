"""Sets results of PyKrige, scikit-learn, esda and SciPy beside ours.

Called by `cargo xtask reference` with a file of inputs and our results. Everything is computed here
anew from the inputs; nothing is taken from our results but the numbers to compare. Exit code 0 when
all agree, 1 when one does not, 2 when it cannot be run.
"""

import json
import math
import sys
import warnings

import numpy as np

warnings.filterwarnings("ignore")

# Differences allowed. Kriging: of the data's standard deviation for estimates, of the sill for
# variances, where the condition number is below CONDITION_MAX.
KRIGING = 1e-9
CONDITION_MAX = 1e5
STATISTICS = 1e-10
PROCESSES = 1e-9
ADJUSTED = 1e-12
# Of Monte-Carlo errors of the difference.
STANDARD_ERRORS = 4.0
PERMUTATIONS = 1999


class Table:
    """What was compared, by what, and how far apart it is at most."""

    def __init__(self):
        self.rows = {}

    def compare(self, what, ours, theirs, scale, limit):
        ours, theirs = np.atleast_1d(ours), np.atleast_1d(theirs)
        ours, theirs = ours.astype(float), theirs.astype(float)
        if ours.shape != theirs.shape or not (np.isfinite(ours).all() and np.isfinite(theirs).all()):
            worst = math.inf
        else:
            worst = float(np.max(np.abs(ours - theirs) / scale))
        count, before, _ = self.rows.get(what, (0, 0.0, limit))
        self.rows[what] = (count + ours.size, max(before, worst), limit)

    def close(self):
        width = max(len(what) for what in self.rows)
        print(f"{'what':{width}}  {'numbers':>8}  {'furthest':>9}  {'allowed':>8}")
        failed = 0
        for what, (count, worst, limit) in self.rows.items():
            bad = not worst <= limit
            failed += bad
            mark = "  DIFFERS" if bad else ""
            print(f"{what:{width}}  {count:8}  {worst:9.1e}  {limit:8.0e}{mark}")
        numbers = sum(count for count, _, _ in self.rows.values())
        print(f"{numbers} numbers compared, {failed} of {len(self.rows)} kinds differ")
        return failed


def relative(values):
    """Differences count against a number's size, small ones against 1."""
    return np.maximum(1.0, np.abs(np.asarray(values, dtype=float)))


def neighbours(table, field):
    from esda import Geary, Join_Counts, Moran, Moran_Local
    from esda.getisord import G_Local
    from libpysal.weights import W
    from scipy.stats import false_discovery_control

    values = np.array(field["values"])
    count = len(values)

    def weights():
        # Made anew each time: the library changes them in place.
        lists = {place: near for place, near in enumerate(field["neighbours"])}
        return W(lists, id_order=list(range(count)), silence_warnings=True)

    np.random.seed(1)
    moran = Moran(values, weights(), transformation="r", permutations=PERMUTATIONS)
    geary = Geary(values, weights(), transformation="r", permutations=PERMUTATIONS)
    for name, ours, value, normal, random, z_normal, z_random in (
        ("Moran's I", field["moran"], moran.I, moran.VI_norm, moran.VI_rand, moran.z_norm,
         moran.z_rand),
        ("Geary's C", field["geary"], geary.C, geary.VC_norm, geary.VC_rand, geary.z_norm,
         geary.z_rand),
    ):
        what = f"{name}, its variances and deviates (esda)"
        theirs = np.array([value, normal, random, z_normal, z_random])
        keys = ["value", "variance_normal", "variance_random", "z_normal", "z_random"]
        table.compare(what, [ours[key] for key in keys], theirs, relative(theirs), STATISTICS)
    for what, ours, seen, drawn in (
        ("p by shuffling, Moran's I (esda; standard errors)", field["moran_rank"], moran.I,
         moran.sim),
        ("p by shuffling, Geary's C (esda; standard errors)", field["geary_rank"], geary.C,
         geary.sim),
    ):
        theirs = (np.sum(np.asarray(drawn) >= seen) + 1.0) / (PERMUTATIONS + 1.0)
        both = 0.5 * (ours["p_high"] + theirs)
        error = math.sqrt(both * (1.0 - both) * (1.0 / ours["draws"] + 1.0 / PERMUTATIONS))
        # One count either way is no difference that could be told.
        error = max(error, 1.0 / (PERMUTATIONS + 1.0))
        table.compare(what, ours["p_high"], theirs, error, STANDARD_ERRORS)
    local = Moran_Local(values, weights(), transformation="r", permutations=0)
    # The library divides by the sample variance (n - 1), Anselin's paper and ours by n.
    theirs = local.Is * count / (count - 1)
    table.compare("local I (esda)", field["local_moran"], theirs, relative(theirs), STATISTICS)
    for what, key, star in (("local G (esda)", "local_g", False), ("local G* (esda)",
                            "local_g_star", True)):
        theirs = G_Local(values, weights(), transform="B", star=star, permutations=0).Zs
        table.compare(what, field[key], theirs, relative(theirs), STATISTICS)
    joins = Join_Counts(np.array(field["marked"]).astype(int), weights(), permutations=0)
    table.compare("joins (esda)", field["joins"], joins.bb, 1.0, STATISTICS)
    theirs = false_discovery_control(field["p_values"], method="bh")
    table.compare("adjusted p (SciPy)", field["adjusted"], theirs, 1.0, ADJUSTED)


def rise(shape, ranges):
    """Share of the sill reached at a distance in ranges."""
    if shape == "spherical":
        return np.where(ranges < 1.0, 1.5 * ranges - 0.5 * ranges**3, 1.0)
    if shape == "exponential":
        return 1.0 - np.exp(-ranges)
    return np.where(ranges < 1.0, 1.0 - (1.0 - ranges) ** 4 * (1.0 + 4.0 * ranges), 1.0)


def kriging(table, case):
    from pykrige.ok import OrdinaryKriging
    from scipy.spatial.distance import cdist

    places, at = np.array(case["places"]), np.array(case["at"])
    values, model, shape = np.array(case["values"]), case["model"], case["shape"]
    sill, nugget = model["partial_sill"], model["nugget"]
    if shape == "wendland":
        how = {
            "variogram_model": "custom",
            "variogram_function": lambda p, d: p[2] + p[0] * rise(shape, d / p[1]),
            "variogram_parameters": [sill, model["range"], nugget],
        }
    else:
        # The library's exponential curve is given by its practical range, 95 % of the sill.
        practical = 3.0 if shape == "exponential" else 1.0
        spread = {"psill": sill, "range": model["range"] * practical, "nugget": nugget}
        how = {"variogram_model": shape, "variogram_parameters": spread}
    theirs = OrdinaryKriging(places[:, 0], places[:, 1], values, **how)
    estimates, variances = theirs.execute("points", at[:, 0], at[:, 1], backend="vectorized")
    distances = cdist(places, places) / model["range"]
    matrix = sill * (1.0 - rise(shape, distances)) + nugget * np.eye(len(values))
    condition = np.linalg.cond(matrix)
    print(f"kriging: {case['name']}, {shape}: condition number {condition:.1e}")
    if condition >= CONDITION_MAX:
        raise SystemExit("a kriging system is too badly conditioned to be compared")
    table.compare("kriging estimates (PyKrige; of the data's sd)", case["estimates"],
                  np.asarray(estimates), values.std(ddof=1), KRIGING)
    table.compare("kriging variances (PyKrige; of the sill)", case["variances"],
                  np.asarray(variances), sill + nugget, KRIGING)


def gaussian(table, case):
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import RBF, ConstantKernel

    kernel = ConstantKernel(case["variance"], "fixed") * RBF(case["length"], "fixed")
    theirs = GaussianProcessRegressor(kernel=kernel, alpha=case["noise"], optimizer=None)
    theirs.fit(np.array(case["places"]), np.array(case["target"]))
    means, sds = theirs.predict(np.array(case["at"]), return_std=True)
    sd = math.sqrt(case["variance"])
    table.compare("process means (scikit-learn; of the prior sd)", case["means"], means, sd,
                  PROCESSES)
    table.compare("process sds (scikit-learn; of the prior sd)", case["sds"], sds, sd, PROCESSES)
    likelihood = theirs.log_marginal_likelihood(theirs.kernel_.theta)
    table.compare("log marginal likelihood (scikit-learn; relative)",
                  case["log_marginal_likelihood"], likelihood, abs(likelihood), PROCESSES)


def main():
    if len(sys.argv) != 2:
        print("usage: compare.py FILE", file=sys.stderr)
        return 2
    with open(sys.argv[1], encoding="utf-8") as file:
        ours = json.load(file)
    table = Table()
    for field in ours["neighbours"]:
        neighbours(table, field)
    for case in ours["processes"]["kriging"]:
        kriging(table, case)
    for case in ours["processes"]["gaussian"]:
        gaussian(table, case)
    return 1 if table.close() else 0


if __name__ == "__main__":
    sys.exit(main())
