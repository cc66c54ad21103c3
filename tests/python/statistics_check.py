"""Compares the statistics of the crate with SciPy, NumPy and statsmodels.

What it reads: the JSON file that this test writes,

    BUFFERSTOP_STATISTICS_RESULTS=FILE cargo test --lib -- --ignored \
        write_results_for_the_outside_check

named as the only argument. It prints the worst relative difference of every
statistic over 200 random lots and leaves with status 1 when any is above its
tolerance: 1e-9, or more where the other library is the less exact, with the
reason beside it. It needs scipy and statsmodels, and no bench.
"""

import json
import math
import sys
import warnings
from fractions import Fraction

import numpy as np
from scipy import integrate, optimize, special, stats
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.power import TTestIndPower
from statsmodels.stats.proportion import proportion_confint
from statsmodels.stats.weightstats import ttost_ind

TOLERANCE = 1e-9
# Below this a p value is "beyond doubt" and libraries differ in how far they
# keep its digits; SciPy takes 1 - cdf here and there.
LEAST_P = 1e-13


class Tally:
    """Worst difference by name of the statistic."""

    def __init__(self):
        self.worst = {}
        self.count = {}
        self.failed = []

    def add(self, name, got, want, tolerance=TOLERANCE, scale=0.0):
        """`scale` is the size of what was subtracted to get the number, for
        results that are close to zero only by cancellation."""
        if isinstance(want, (list, tuple, np.ndarray)):
            for one_got, one_want in zip(got, want, strict=True):
                self.add(name, one_got, one_want, tolerance, scale)
            return
        want = float(want)
        error = abs(got - want) / max(abs(want), scale, 1e-300)
        self.count[name] = self.count.get(name, 0) + 1
        self.worst[name] = max(self.worst.get(name, 0.0), error)
        if not error <= tolerance:
            self.failed.append((name, got, want, error))

    def add_p(self, name, got, want):
        if want < LEAST_P and got < 10 * LEAST_P:
            self.count[name] = self.count.get(name, 0) + 1
            return
        self.add(name, got, want)

    def add_missing(self, name, got):
        """The crate gave no result where the other library gives none either."""
        self.count[name] = self.count.get(name, 0) + 1
        if got is not None:
            self.failed.append((name, got, None, math.inf))


def ends(interval):
    return [interval["lower"], interval["upper"]]


def check_moments(tally, lot, x):
    # Exact sums: NumPy's own rounding would be the larger error.
    exact = [Fraction(float(v)) for v in x] if len(x) <= 300 else None
    mean = sum(exact) / len(x) if exact else math.fsum(x) / len(x)
    squares = (
        float(sum((v - mean) ** 2 for v in exact))
        if exact
        else math.fsum((v - mean) ** 2 for v in x)
    )
    tally.add("mean", lot["mean"], mean, scale=np.max(np.abs(x)) * 1e-6)
    tally.add("standard deviation", lot["sd"], math.sqrt(squares / (len(x) - 1)))
    tally.add("median", lot["median"], np.median(x), scale=np.max(np.abs(x)) * 1e-6)
    tally.add("quantile", lot["quantile_30"], np.quantile(x, 0.3), scale=np.max(np.abs(x)) * 1e-6)
    spread = np.ptp(x)
    tally.add("median absolute deviation", lot["mad"],
              stats.median_abs_deviation(x), scale=spread * 1e-3)


def check_means(tally, lot, x, y):
    if np.ptp(x) == 0 and np.ptp(y) == 0:
        for name in ("welch", "welch_test", "pooled_test", "tost_welch", "tost_pooled"):
            tally.add_missing("t without spread", lot[name])
        return
    # A difference of close means has lost the digits the means share.
    size = max(np.max(np.abs(x)), np.max(np.abs(y)))
    error = lot["welch"]["standard_error"]
    lost = size / error * 1e-6
    for name, equal in (("welch_test", False), ("pooled_test", True)):
        other = stats.ttest_ind(x, y, equal_var=equal)
        tally.add(name + " t", lot[name]["t"], other.statistic, scale=lost)
        tally.add(name + " p", lot[name]["p_two_sided"], other.pvalue)
        for side, ours in (("less", "p_less"), ("greater", "p_greater")):
            one = stats.ttest_ind(x, y, equal_var=equal, alternative=side)
            tally.add_p(name + " one-sided p", lot[name][ours], one.pvalue)
    welch = stats.ttest_ind(x, y, equal_var=False)
    tally.add("welch dof", lot["welch"]["dof"], welch.df)
    interval = welch.confidence_interval(0.95)
    tally.add("welch interval", ends(lot["welch_interval"]), [interval.low, interval.high],
              scale=size * 1e-6)
    margin = lot["margin"]
    for name, kind in (("tost_welch", "unequal"), ("tost_pooled", "pooled")):
        p, lower, upper = ttost_ind(x, y, -margin, margin, usevar=kind)
        tally.add_p("tost p", lot[name]["p"], p)
        tally.add("tost t", [lot[name]["t_lower"], lot[name]["t_upper"]],
                  [lower[0], upper[0]], scale=lost)


def check_ranks(tally, lot, x, y):
    together = np.concatenate([x, y])
    if np.ptp(together) == 0:
        tally.add_missing("ranks without spread", lot["rank_sum"])
        return
    ours = lot["rank_sum"]
    tally.count["rank sum, " + ours["method"]] = tally.count.get("rank sum, " + ours["method"], 0) + 1
    for side, name in (("two-sided", "p_two_sided"), ("less", "p_less"), ("greater", "p_greater")):
        other = stats.mannwhitneyu(x, y, alternative=side, method=ours["method"])
        tally.add("u", ours["u_first"], other.statistic)
        tally.add_p("rank sum p, " + ours["method"], ours[name], other.pvalue)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        other = stats.brunnermunzel(x, y)
    if lot["superiority"] is None:
        tally.count["superiority, separated"] = tally.count.get("superiority, separated", 0) + 1
        if np.isfinite(other.statistic):
            tally.failed.append(("superiority", None, other.statistic, math.inf))
        return
    tally.add("brunner munzel statistic", lot["superiority"]["statistic"], other.statistic, scale=1e-6)
    tally.add_p("brunner munzel p", lot["superiority"]["p_two_sided"], other.pvalue)


def check_shift(tally, lot, x, y):
    differences = np.sort(np.subtract.outer(x, y), axis=None)
    size = max(np.max(np.abs(x)), np.max(np.abs(y)))
    tally.add("shift", lot["shift"]["shift"], np.median(differences), scale=size * 1e-6)
    # The interval's ends are differences that stand at mirrored ranks.
    lower, upper = ends(lot["shift"]["interval"])
    low = (np.searchsorted(differences, lower, "left"), np.searchsorted(differences, lower, "right"))
    high = (len(differences) - np.searchsorted(differences, upper, "right"),
            len(differences) - np.searchsorted(differences, upper, "left"))
    mirrored = max(low[0], high[0]) < min(low[1], high[1])
    tally.add("shift interval mirrored", float(mirrored), 1.0)
    m, n = len(x), len(y)
    confidence = lot["shift"]["confidence"]
    if max(m, n) <= 50 and len(np.unique(differences)) == len(differences):
        ways = exact_counts(m, n)
        reached = 1 - 2 * sum(ways[: low[0] + 1]) / sum(ways)
        tally.add("shift confidence", confidence, reached, scale=1e-6)


def exact_counts(m, n):
    """Orders of m + n readings by U, in whole numbers: Mann and Whitney's own
    recursion, one reading at a time."""
    table = [[1] + [0] * (m * n) for _ in range(n + 1)]
    for i in range(1, m + 1):
        fresh = [[1] + [0] * (m * n)]
        for j in range(1, n + 1):
            fresh.append([(table[j][u - j] if u >= j else 0) + fresh[j - 1][u]
                          for u in range(m * n + 1)])
        table = fresh
    return table[n]


def check_spread(tally, lot, x, y):
    if np.ptp(x) > 0 and np.ptp(y) > 0:
        f = np.var(x, ddof=1) / np.var(y, ddof=1)
        a, b = len(x) - 1, len(y) - 1
        ours = lot["variance_ratio"]
        tally.add("f", ours["f"], f)
        two = 2 * min(stats.f.cdf(f, a, b), stats.f.sf(f, a, b))
        tally.add_p("f p", ours["p_two_sided"], two)
        tally.add("f interval", ends(ours["interval"]),
                  [f / stats.f.isf(0.025, a, b), f / stats.f.ppf(0.025, a, b)])
        other = stats.bartlett(x, y)
        # Near-equal variances: a difference of logarithms.
        tally.add("bartlett", lot["bartlett"]["statistic"], other.statistic, scale=1e-5)
        tally.add_p("bartlett p", lot["bartlett"]["p"], other.pvalue)
    else:
        tally.add_missing("f without spread", lot["variance_ratio"])
    for name, centre in (("brown_forsythe", "median"), ("levene", "mean")):
        ours = lot[name]
        if ours is None:
            tally.count[name + ", no spread"] = tally.count.get(name + ", no spread", 0) + 1
            continue
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            other = stats.levene(x, y, center=centre)
        if ours["within"] < 1e-20 * ours["between"] or other.statistic > 1e15:
            # All deviations alike but for rounding, as with two readings each.
            continue
        tally.add(name, ours["f"], other.statistic, scale=1e-6)
        tally.add_p(name + " p", ours["p"], other.pvalue)


def t_test_power(aim, side, power):
    """statsmodels; where SciPy's non-central t below it gives up, the normal
    distribution averaged over the standard deviation."""
    effect, n, alpha = aim["difference"] / aim["sd"], aim["boards"], aim["alpha"]
    want = power.power(effect, n, alpha, alternative=side)
    if np.isfinite(want):
        return "t test power", want
    dof, delta = 2 * (n - 1), effect * math.sqrt(n / 2)
    t = stats.t.isf(alpha if side == "larger" else alpha / 2, dof)
    root = math.sqrt(dof)

    def integrand(s):
        outside = special.ndtr(delta - t * s)
        if side == "two-sided":
            outside += special.ndtr(-delta - t * s)
        return stats.chi.pdf(s * root, dof) * root * outside

    end = 1 + 14 / math.sqrt(2 * dof)
    return "t test power, by quadrature", integrate.quad(
        integrand, 0, end, epsabs=1e-15, epsrel=1e-13, limit=500, points=[0.5, 1.0])[0]


def equivalence_power(aim):
    n, sd, alpha = aim["boards"], aim["sd"], aim["alpha"]
    dof, error = 2 * (n - 1), sd * math.sqrt(2 / n)
    t = stats.t.isf(alpha, dof)
    up = (aim["margin"] - aim["difference"]) / error
    down = (-aim["margin"] - aim["difference"]) / error
    root = math.sqrt(dof)

    def integrand(s):
        both = special.ndtr(up - t * s) - special.ndtr(down + t * s)
        return stats.chi.pdf(s * root, dof) * root * both

    end = min((up - down) / (2 * t), 1 + 12 / math.sqrt(2 * dof))
    places = [p for p in (0.5, 0.8, 1.0, 1.2, up / t) if 0 < p < end]
    return integrate.quad(integrand, 0, end, epsabs=1e-15, epsrel=1e-13, limit=500, points=places)[0]


def two_sided_factor(n, share, confidence):
    """Eberhardt, Mee and Reeve's equation by adaptive quadrature."""

    def half_width(offset):
        def outside(r):
            return special.ndtr(-r - offset) + special.ndtr(offset - r) - (1 - share)

        return optimize.brentq(outside, 0, offset + 20, xtol=1e-14, rtol=1e-14)

    def short(k):
        def integrand(z):
            r = half_width(z / math.sqrt(n))
            return 2 * stats.norm.pdf(z) * special.chdtrc(n - 1, (n - 1) * r * r / (k * k))

        return integrate.quad(integrand, 0, 9, epsabs=1e-13, epsrel=1e-12, limit=300)[0] - confidence

    start = 3 * stats.norm.isf((1 - share) / 2)
    return optimize.brentq(short, start / 3.5, 3000, xtol=1e-12, rtol=1e-12)


def check_tables(tally, tables):
    power = TTestIndPower()
    for aim in tables["aims"]:
        for ours, side in (("one", "larger"), ("two", "two-sided")):
            name, want = t_test_power(aim, side, power)
            tally.add(name, aim[ours], want)
        tally.add("equivalence power", aim["equivalence"], equivalence_power(aim), scale=1e-4)
    for row in tables["factors"]:
        n, share, confidence = row["n"], row["share"], row["confidence"]
        delta = stats.norm.ppf(share) * math.sqrt(n)
        # The quantile search of SciPy is only as good as its own root finder,
        # so its distribution function is asked for the confidence instead.
        reached = stats.nct.cdf(row["one"] * math.sqrt(n), n - 1, delta)
        tally.add("one-sided factor", reached, confidence)
        if n <= 500:
            tally.add("two-sided factor", row["two"], two_sided_factor(n, share, confidence))
    for row in tables["shares"]:
        want = proportion_confint(row["x"], row["n"], alpha=0.1, method="wilson")
        tally.add("wilson", ends(row["wilson"]["interval"]), want)
        want = proportion_confint(row["x"], row["n"], alpha=0.1, method="beta")
        tally.add("clopper_pearson", ends(row["exact"]["interval"]), want)
    tally.add("holm", tables["holm"], multipletests(tables["p"], method="holm")[1])


def main():
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    with open(sys.argv[1], encoding="utf-8") as file:
        results = json.load(file)
    tally = Tally()
    for lot in results["lots"]:
        x, y = np.array(lot["first"]), np.array(lot["second"])
        check_moments(tally, lot, x)
        check_means(tally, lot, x, y)
        check_ranks(tally, lot, x, y)
        if len(x) * len(y) <= 4_000_000:
            check_shift(tally, lot, x, y)
        check_spread(tally, lot, x, y)
    check_tables(tally, results["tables"])
    for name in sorted(tally.count):
        print(f"{name:40} {tally.count[name]:6}  {tally.worst.get(name, 0.0):.1e}")
    for name, got, want, error in tally.failed[:20]:
        print(f"FAILED {name}: {got!r}, not {want!r}, off by {error:.1e}")
    print(f"{sum(tally.count.values())} comparisons of {len(results['lots'])} lots,"
          f" {len(tally.failed)} failed")
    sys.exit(1 if tally.failed else 0)


if __name__ == "__main__":
    main()
