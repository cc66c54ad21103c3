//! Distributions against 40-digit integrals by mpmath 1.4 of their definitions,
//! and against critical values printed in handbooks.

use super::super::distribution::{
    chi_square, chi_square_critical, fisher_f, fisher_f_critical, normal, normal_critical,
    student_t, student_t_critical,
};
use super::super::noncentral::{noncentral_t, sd_ratio_density, sd_ratio_reach};
use super::super::quadrature::Rule;
use super::{close, printed};

#[test]
fn central_tails_agree_with_mpmath() {
    for (z, upper) in [
        (0.3, 0.38208857781104737),
        (1.96, 0.024997895148220436),
        (8.0, 6.2209605742717841e-16),
        (30.0, 4.9067139271481871e-198),
    ] {
        // Rounding the argument alone costs z^2 units in the last place.
        close(normal(z).upper, upper, 1e-13);
        close(normal(-z).lower, upper, 1e-13);
    }
    for (t, dof, upper) in [
        (2.5, 3.7, 0.035911011455913386),
        (12.5, 326.0, 7.3632305141884785e-30),
        (5.0, 1e6, 2.8669989354453708e-7),
        (40.0, 12.0, 1.9256147903860169e-14),
        (0.001, 2.0, 0.49964644669779504),
        (1e8, 1.0, 3.1830988618379066e-9),
    ] {
        // With a million degrees of freedom the argument is so close to 1 that
        // the continued fraction starts from a rounded difference.
        close(student_t(t, dof).upper, upper, 1e-11);
        close(student_t(-t, dof).lower, upper, 1e-11);
    }
    for (f, d1, d2, lower, upper) in [
        (1.5, 9.0, 90.0, 0.83996709165783759, 0.16003290834216241),
        (1.01, 1e4, 9e3, 0.68574692678295937, 0.31425307321704063),
        (0.02, 3.0, 7.0, 0.0042021566388674946, 0.99579784336113251),
    ] {
        close(fisher_f(f, d1, d2).lower, lower, 1e-12);
        close(fisher_f(f, d1, d2).upper, upper, 1e-12);
    }
    close(
        fisher_f(245.6, 9.0, 78.0).upper,
        2.0253149944326303e-53,
        1e-12,
    );
    for (x, dof, lower, upper) in [
        (20.8, 9.0, 0.98643133134042506, 0.013568668659574944),
        (10300.0, 10000.0, 0.9823618825526546, 0.0176381174473454),
        (1e-4, 1.0, 0.0079787126292632076, 0.99202128737073679),
    ] {
        close(chi_square(x, dof).lower, lower, 1e-12);
        close(chi_square(x, dof).upper, upper, 1e-12);
    }
    close(
        chi_square(300.0, 100.0).upper,
        7.4121008573228768e-22,
        1e-12,
    );
}

/// NIST/SEMATECH e-Handbook 1.3.5.3, 1.3.5.7, 1.3.5.9 and 1.3.5.10, from
/// memory; JCGM 106 table 1, from memory.
#[test]
fn critical_values_are_those_printed() {
    printed(student_t_critical(0.025, 326.0), 1.9673, 4);
    printed(chi_square_critical(0.05, 9.0), 16.919, 3);
    printed(fisher_f_critical(0.025, 239.0, 239.0), 1.2894, 4);
    printed(fisher_f_critical(0.975, 239.0, 239.0), 0.7756, 4);
    // The page cuts 1.98559 off.
    assert!((fisher_f_critical(0.05, 9.0, 90.0) - 1.9855).abs() < 1e-4);
    for (p, z) in [(0.8, 0.84), (0.9, 1.28), (0.99, 2.33), (0.999, 3.09)] {
        printed(normal_critical(1.0 - p), z, 2);
    }
    // Welch-Satterthwaite coverage factors: SciPy 1.17.1.
    close(student_t_critical(0.025, 11.0), 2.200985160091639, 1e-12);
    close(student_t_critical(0.025, 2.0), 4.302652729749462, 1e-12);
    for (upper, z) in [
        (0.4, 0.2533471031357998),
        (0.025, 1.9599639845400542),
        (1e-5, 4.2648907939228246),
        (1e-100, 21.273453560965324),
    ] {
        close(normal_critical(upper), z, 1e-14);
    }
}

proptest::proptest! {
    #[test]
    fn critical_values_have_the_tail_asked_for(
        upper in proptest::prop_oneof![1e-9_f64..0.999_999, 1e-9_f64..1e-3],
        dof in proptest::prop_oneof![0.6_f64..50.0, 50.0_f64..1e6],
        other in 1.0_f64..1e5,
    ) {
        let relative = |got: f64| (got / upper - 1.0).abs();
        let t = student_t_critical(upper, dof);
        let chi = chi_square_critical(upper, dof);
        let f = fisher_f_critical(upper, dof, other);
        proptest::prop_assert!(relative(student_t(t, dof).upper) < 1e-10, "t {}", t);
        proptest::prop_assert!(relative(chi_square(chi, dof).upper) < 1e-10, "chi {}", chi);
        proptest::prop_assert!(relative(fisher_f(f, dof, other).upper) < 1e-10, "f {}", f);
    }
}

#[test]
fn the_noncentral_t_agrees_with_mpmath() {
    for (t, dof, delta, lower, upper) in [
        (2.0, 10.0, 1.0, 0.80761156253037526, 0.19238843746962474),
        (45.0, 30.0, 40.0, 0.78186475407343928, 0.21813524592656072),
        (0.5, 3.0, 2.0, 0.065478985564616802, 0.9345210144353832),
        (
            310.0,
            9999.0,
            300.0,
            0.99998420723213275,
            1.5792767867252905e-5,
        ),
        (60.0, 20.0, 50.0, 0.83467706095902909, 0.16532293904097091),
        (12.0, 8.0, 2.0, 0.99987630360610824, 0.00012369639389176264),
    ] {
        let tails = noncentral_t(t, dof, delta);
        close(tails.lower, lower, 1e-11);
        close(tails.upper, upper, 1e-11);
        let mirrored = noncentral_t(-t, dof, -delta);
        close(mirrored.lower, upper, 1e-11);
    }
    // Towards the far side only the absolute error is small.
    let far = noncentral_t(3.0, 5.0, -1.5);
    assert!((far.upper - 0.000_340_768_716_082_294_59).abs() < 1e-15);
    let near_zero = noncentral_t(0.001, 5.0, 20.0);
    assert!(near_zero.lower < 1e-80 && (near_zero.upper - 1.0).abs() < 1e-13);
}

/// The same probability from another formula: the normal distribution averaged
/// over the standard deviation.
#[test]
fn the_noncentral_t_agrees_with_its_integral() {
    for (t, dof, delta) in [
        (1.0, 1.0, 0.3),
        (3.0, 2.0, 5.0),
        (39.0, 12.0, 38.5),
        (100.0, 60.0, 95.0),
        (0.01, 5.0, 7.0),
        (1700.0, 200_000.0, 1697.0),
        (-2.0, 9.0, 1.0),
    ] {
        let (from, to) = sd_ratio_reach(dof);
        let integral: f64 = Rule::new()
            .panels(from, to, 60)
            .into_iter()
            .map(|(s, weight)| weight * sd_ratio_density(s, dof) * normal(t * s - delta).lower)
            .sum();
        let tails = noncentral_t(t, dof, delta);
        assert!((tails.lower - integral).abs() < 1e-10, "{t} {dof} {delta}");
        assert!((tails.lower + tails.upper - 1.0).abs() < 1e-10);
    }
}

/// A tail of what is not a number claims nothing: it is not below any alpha.
#[test]
fn what_is_not_a_number_has_no_tails() {
    let nan = f64::NAN;
    for tails in [
        normal(nan),
        student_t(nan, 3.0),
        student_t(1.0, nan),
        chi_square(nan, 2.0),
        fisher_f(nan, 2.0, 3.0),
        fisher_f(1.0, 2.0, nan),
        noncentral_t(nan, 3.0, 1.0),
        noncentral_t(1.0, 3.0, nan),
    ] {
        assert!(tails.lower.is_nan() && tails.upper.is_nan(), "{tails:?}");
        assert!(tails.two_sided().is_nan());
    }
    // What is infinitely far out is not unknown.
    assert!(student_t(f64::INFINITY, 3.0).upper < 1e-100);
}
