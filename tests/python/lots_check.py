"""Simulates lots of boards and compares what comes of them with what the crate
states: the chance to prove two lots equivalent, the least number of boards that
reaches a chance, how often the interval of the shift covers the true one, and that
lots on the edge of the margin are called equivalent no more often than alpha.

What it reads is the JSON file named as the only argument, written by
`tests/simulation.rs`. Lots are drawn with NumPy, and the procedure is written
down once more here with SciPy's Student t; nothing of the crate is used but its
answers. It leaves with status 1 when one of them is farther from the simulation
than five of its standard deviations.
"""

import json
import sys

import numpy as np
from scipy import integrate, optimize, special, stats

DRAWS = 100_000


class Tally:
    def __init__(self):
        self.checked = 0
        self.failed = []

    def expect(self, good, *words):
        self.checked += 1
        if not good:
            self.failed.append(words)


def equivalent_share(design, counts, rng):
    """How often lots of these counts are proven equivalent, by simulation."""
    n, m = counts
    sds, alpha = design["sds"], design["alpha"]
    error = np.sqrt(sds[0] ** 2 / n + sds[1] ** 2 / m)
    mean = rng.normal(design["difference"], error, DRAWS)
    # The variance of a mean, as a lot of normal readings shows it.
    one = sds[0] ** 2 / n * rng.chisquare(n - 1, DRAWS) / (n - 1)
    two = sds[1] ** 2 / m * rng.chisquare(m - 1, DRAWS) / (m - 1)
    both = one + two
    welch_dof = both**2 / (one**2 / (n - 1) + two**2 / (m - 1))
    reach = stats.t.isf(alpha, welch_dof) * np.sqrt(both)
    reach = np.maximum(reach, stats.t.isf(alpha, n - 1) * np.sqrt(one))
    reach = np.maximum(reach, stats.t.isf(alpha, m - 1) * np.sqrt(two))
    if design["bench"]:
        bench = design["bench"]
        reach = np.hypot(reach, stats.t.isf(alpha, bench["dof"]) * bench["u"])
    lower, upper = design["margin"]
    return np.mean((mean - reach > lower) & (mean + reach < upper))


def check_design(tally, design, rng):
    def near(chance, share, slack=0.0):
        sd = np.sqrt(max(chance * (1 - chance), 1e-4) / DRAWS)
        return abs(chance - share) <= 5 * sd + slack

    counts = design["counts"]
    share = equivalent_share(design, counts, rng)
    tally.expect(near(design["power"], share), "power", design, share)
    wanted = design["wanted"]
    sd = np.sqrt(wanted * (1 - wanted) / DRAWS)
    for name, at in (("boards", lambda k: (k, k)),
                     ("more", lambda k: (counts[0] + k, counts[1] + k))):
        number = design[name]
        if number is None:
            tally.expect(equivalent_share(design, at(3000), rng) < wanted, name, design)
            continue
        reached = equivalent_share(design, at(number), rng)
        tally.expect(reached >= wanted - 5 * sd, name, design, reached)
        least = 2 if name == "boards" else 1
        if number > least:
            fewer = equivalent_share(design, at(number - 1), rng)
            tally.expect(fewer < wanted + 5 * sd, name + " less one", design, fewer)


def check_size(tally, rng):
    """The procedure itself: lots that lie on the edge of the margin, on a bench
    that moves between them by an amount of which only an estimate with few
    degrees of freedom is known, are called equivalent no more often than alpha."""
    alpha, edge, sd = 0.05, 1.0, 0.3
    for bench_sd, bench_dof in ((0.0, 1), (0.05, 1), (0.1, 3), (0.3, 3), (0.1, 10)):
        for boards in (3, 12, 50, 1000):
            error = sd * np.sqrt(2 / boards)
            mean = edge + rng.normal(0, error, DRAWS) + rng.normal(0, bench_sd, DRAWS)
            one, two = (sd**2 / boards * rng.chisquare(boards - 1, DRAWS) / (boards - 1)
                        for _ in range(2))
            both = one + two
            dof = both**2 / ((one**2 + two**2) / (boards - 1))
            reach = np.maximum(
                stats.t.isf(alpha, dof) * np.sqrt(both),
                stats.t.isf(alpha, boards - 1) * np.sqrt(np.maximum(one, two)))
            u = bench_sd * np.sqrt(rng.chisquare(bench_dof, DRAWS) / bench_dof)
            reach = np.hypot(reach, stats.t.isf(alpha, bench_dof) * u)
            size = np.mean((mean - reach > -edge) & (mean + reach < edge))
            sigma = np.sqrt(alpha * (1 - alpha) / DRAWS)
            tally.expect(size <= alpha + 5 * sigma, "size", bench_sd, bench_dof, boards, size)


def median_difference(first, second):
    """The median of X - Y for independent normal or lognormal X and Y."""

    def above(value, kind, scale):
        if kind == "normal":
            return special.ndtr(-value / scale)
        return special.ndtr(-np.log(value / scale)) if value > 0 else 1.0

    def at(z, kind, scale):
        return scale * z if kind == "normal" else scale * np.exp(z)

    def excess(shift):
        def integrand(z):
            return stats.norm.pdf(z) * above(shift + at(z, *second), *first)

        return integrate.quad(integrand, -9, 9, limit=400)[0] - 0.5

    return optimize.brentq(excess, -20, 20, xtol=1e-10)


def check_coverage(tally, case):
    true = median_difference(case["first"], case["second"])
    covers = {
        name: np.mean([low <= true <= high for low, high in case[name]])
        for name in ("plain", "unlike")
    }
    count = len(case["unlike"])
    sd = np.sqrt(0.9 * 0.1 / count)
    print(f"shift of {case['counts']} {case['first']} {case['second']}:"
          f" plain {covers['plain']:.3f}, unlike {covers['unlike']:.3f}")
    tally.expect(covers["unlike"] >= 0.9 - 5 * sd, "coverage", case["first"], covers)
    if case["alike"]:
        tally.expect(abs(covers["plain"] - case["stated"]) <= 5 * sd, "exact", covers)
    # A check that cannot fail says nothing: the plain interval does.
    if case["lopsided"]:
        tally.expect(covers["plain"] < 0.85, "plain coverage", case["first"], covers)


def main():
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    with open(sys.argv[1], encoding="utf-8") as file:
        stated = json.load(file)
    rng = np.random.default_rng(20260301)
    tally = Tally()
    for design in stated["designs"]:
        check_design(tally, design, rng)
    check_size(tally, rng)
    for case in stated["coverage"]:
        check_coverage(tally, case)
    for words in tally.failed[:20]:
        print("FAILED", *words)
    print(f"{tally.checked} checks, {len(tally.failed)} failed")
    sys.exit(1 if tally.failed else 0)


if __name__ == "__main__":
    main()
