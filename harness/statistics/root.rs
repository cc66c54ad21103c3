//! Roots of one increasing function of one variable.
//! It promises a bounded number of evaluations, not a root of every function.

/// A function worth solving needs about ten; halving alone about sixty.
const MOST_STEPS: usize = 300;
const MOST_WIDENINGS: usize = 100;

/// The root of an increasing `function`, looked for from `start` outwards with
/// steps that double. Where there is no sign change the nearest end is given.
pub(super) fn outward(function: impl Fn(f64) -> f64, start: f64, first_step: f64) -> f64 {
    let (mut low, mut high) = (start, start);
    let (mut at_low, mut at_high) = (function(start), 0.0);
    let mut step = first_step;
    if at_low < 0.0 {
        at_high = at_low;
        for _ in 0..MOST_WIDENINGS {
            (low, at_low) = (high, at_high);
            high += step;
            at_high = function(high);
            step *= 2.0;
            if at_high >= 0.0 {
                break;
            }
        }
    } else {
        for _ in 0..MOST_WIDENINGS {
            (high, at_high) = (low, at_low);
            low -= step;
            at_low = function(low);
            step *= 2.0;
            if at_low <= 0.0 {
                break;
            }
        }
    }
    between(function, (low, at_low), (high, at_high))
}

/// The root between two points, each with its value: T. R. Chandrupatla, "A new
/// hybrid quadratic/bisection algorithm for finding the zero of a nonlinear
/// function", Advances in Engineering Software 28 (1997) 145-149.
fn between(function: impl Fn(f64) -> f64, first: (f64, f64), second: (f64, f64)) -> f64 {
    let (mut newest, mut across) = (first, second);
    if newest.1 == 0.0 || across.1 == 0.0 || (newest.1 > 0.0) == (across.1 > 0.0) {
        return nearer(newest, across).0;
    }
    let mut part = 0.5;
    for _ in 0..MOST_STEPS {
        let place = newest.0 + part * (across.0 - newest.0);
        let value = function(place);
        let before;
        if (value > 0.0) == (newest.1 > 0.0) {
            before = newest;
        } else {
            before = across;
            across = newest;
        }
        newest = (place, value);
        let best = nearer(newest, across);
        let tolerance = 2.0 * f64::EPSILON * best.0.abs() + f64::MIN_POSITIVE;
        let least_part = tolerance / (across.0 - newest.0).abs();
        if best.1 == 0.0 || least_part.is_nan() || least_part > 0.5 {
            return best.0;
        }
        part = quadratic_part(newest, across, before).clamp(least_part, 1.0 - least_part);
    }
    nearer(newest, across).0
}

fn nearer(a: (f64, f64), b: (f64, f64)) -> (f64, f64) {
    if a.1.abs() <= b.1.abs() { a } else { b }
}

/// Where between `a` and `b` inverse quadratic interpolation puts the root, as
/// a fraction; one half where the interpolation would not be monotone.
fn quadratic_part(a: (f64, f64), b: (f64, f64), c: (f64, f64)) -> f64 {
    let along = (a.0 - b.0) / (c.0 - b.0);
    let up = (a.1 - b.1) / (c.1 - b.1);
    if up * up < along && (1.0 - up) * (1.0 - up) < 1.0 - along {
        a.1 / (b.1 - a.1) * c.1 / (b.1 - c.1)
            + (c.0 - a.0) / (b.0 - a.0) * a.1 / (c.1 - a.1) * b.1 / (c.1 - b.1)
    } else {
        0.5
    }
}
