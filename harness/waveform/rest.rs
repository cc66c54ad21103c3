//! Sample types, and how long samples stay where they are: a cache line is
//! compared at once, in a form that compilers turn into vector instructions. It
//! knows no crossings; a band says what rests.

/// A number type that captures are made of.
pub trait Sample: Copy + PartialOrd {
    /// The sample as a number; exact for every type here.
    fn number(self) -> f64;

    /// The least sample that is no less than `value`, if there is one.
    fn at_least(value: f64) -> Option<Self>;

    /// The greatest sample that is no greater than `value`, if there is one.
    fn at_most(value: f64) -> Option<Self>;

    /// Least and greatest of some samples. What is no number is passed over; of
    /// none at all it is (infinity, -infinity).
    fn extremes(samples: &[Self]) -> (f64, f64);

    /// How many samples from the front, in whole cache lines, lie in `band`.
    fn lines_in(band: Band<Self>, samples: &[Self]) -> usize;
}

/// Samples from `least` to `greatest`, both included. What is no number lies in
/// every band.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band<S> {
    least: S,
    greatest: S,
}

impl<S: Sample> Band<S> {
    /// The samples whose numbers lie from `least` to `greatest`; `None` where
    /// there are none.
    pub fn of(least: f64, greatest: f64) -> Option<Self> {
        let band = Self {
            least: S::at_least(least)?,
            greatest: S::at_most(greatest)?,
        };
        (band.least <= band.greatest).then_some(band)
    }

    /// Whether `sample` lies in it.
    pub fn holds(self, sample: S) -> bool {
        !((sample < self.least) | (sample > self.greatest))
    }

    /// Whether every sample is a number and lies in it.
    pub fn has_numbers(self, samples: &[S]) -> bool {
        // No early way out: that is a vector comparison.
        let has = |all, &x: &S| all & (x >= self.least) & (x <= self.greatest);
        samples.iter().fold(true, has)
    }

    /// How many samples from the front lie in it, one after the other.
    pub fn holds_first(self, samples: &[S]) -> usize {
        let lines = S::lines_in(self, samples);
        let rest = samples[lines..].iter();
        lines + rest.take_while(|&&sample| self.holds(sample)).count()
    }
}

/// Bytes of a cache line.
const LINE: usize = 64;

macro_rules! sample {
    ($($type:ty, $highest:expr, $lowest:expr, $at_least:expr, $at_most:expr;)*) => {$(
        impl Sample for $type {
            fn number(self) -> f64 {
                f64::from(self)
            }

            fn at_least(value: f64) -> Option<Self> {
                $at_least(value)
            }

            fn at_most(value: f64) -> Option<Self> {
                $at_most(value)
            }

            fn extremes(samples: &[Self]) -> (f64, f64) {
                const LANES: usize = LINE / size_of::<$type>();
                let mut least = [$highest; LANES];
                let mut greatest = [$lowest; LANES];
                let (lines, rest) = samples.as_chunks::<LANES>();
                // Independent lanes, since the order of floats in a minimum is
                // not the compiler's to change.
                for line in lines {
                    for lane in 0..LANES {
                        let x = line[lane];
                        least[lane] = if x < least[lane] { x } else { least[lane] };
                        greatest[lane] = if x > greatest[lane] { x } else { greatest[lane] };
                    }
                }
                for (lane, &x) in rest.iter().enumerate() {
                    least[lane] = if x < least[lane] { x } else { least[lane] };
                    greatest[lane] = if x > greatest[lane] { x } else { greatest[lane] };
                }
                let low = least.into_iter().fold($highest, |a, b| if b < a { b } else { a });
                let high = greatest.into_iter().fold($lowest, |a, b| if b > a { b } else { a });
                if samples.is_empty() {
                    return (f64::INFINITY, f64::NEG_INFINITY);
                }
                (f64::from(low), f64::from(high))
            }

            fn lines_in(band: Band<Self>, samples: &[Self]) -> usize {
                const LANES: usize = LINE / size_of::<$type>();
                // Most bands have one end, which is compared with half the work.
                if band.greatest == $highest {
                    return LANES * lines_without::<_, LANES>(samples, |x| x < band.least);
                }
                if band.least == $lowest {
                    return LANES * lines_without::<_, LANES>(samples, |x| x > band.greatest);
                }
                LANES * lines_without::<_, LANES>(samples, |x| !band.holds(x))
            }
        }
    )*};
}

/// How many lines from the front hold no sample that is outside.
#[inline]
fn lines_without<S: Copy, const LANES: usize>(
    samples: &[S],
    outside: impl Fn(S) -> bool + Copy,
) -> usize {
    let (lines, _) = samples.as_chunks::<LANES>();
    // A sum of truths and no early way out: that is a vector comparison.
    let rests = |line: &&[S; LANES]| !line.iter().fold(false, |out, &x| out | outside(x));
    lines.iter().take_while(rests).count()
}

macro_rules! integer {
    ($type:ty) => {
        (
            |value: f64| {
                let value = libm::ceil(value);
                (value <= f64::from(<$type>::MAX)).then_some(value as $type)
            },
            |value: f64| {
                let value = libm::floor(value);
                (value >= f64::from(<$type>::MIN)).then_some(value as $type)
            },
        )
    };
}

/// A float as it is; what is no number is no border.
fn as_it_is(value: f64) -> Option<f64> {
    (!value.is_nan()).then_some(value)
}

fn single_at_least(value: f64) -> Option<f32> {
    let near = value as f32;
    let near = if f64::from(near) < value {
        near.next_up()
    } else {
        near
    };
    (!value.is_nan()).then_some(near)
}

fn single_at_most(value: f64) -> Option<f32> {
    single_at_least(-value).map(|sample| -sample)
}

sample! {
    i8, i8::MAX, i8::MIN, integer!(i8).0, integer!(i8).1;
    i16, i16::MAX, i16::MIN, integer!(i16).0, integer!(i16).1;
    i32, i32::MAX, i32::MIN, integer!(i32).0, integer!(i32).1;
    f32, f32::INFINITY, f32::NEG_INFINITY, single_at_least, single_at_most;
    f64, f64::INFINITY, f64::NEG_INFINITY, as_it_is, as_it_is;
}

#[cfg(test)]
mod tests {
    //! The fast way against the plain one, for every type.

    use super::*;

    fn agree<S: Sample + std::fmt::Debug>(samples: &[S], least: f64, greatest: f64) {
        let within = |s: &&S| {
            let x = s.number();
            x.is_nan() || (x >= least && x <= greatest)
        };
        let plain = samples.iter().take_while(within).count();
        let fast = Band::of(least, greatest).map_or_else(
            // No number lies between; of what is no number nothing is asked.
            || samples.iter().take_while(|s| s.number().is_nan()).count(),
            |band| band.holds_first(samples),
        );
        assert_eq!(fast, plain, "{least} {greatest} {samples:?}");
        let numbers = samples.iter().map(|s| s.number()).filter(|x| !x.is_nan());
        let plain = numbers.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), x| {
            (a.min(x), b.max(x))
        });
        assert_eq!(S::extremes(samples), plain);
    }

    proptest::proptest! {
        #[test]
        fn lines_and_samples_agree(
            resting in proptest::collection::vec(-3_i8..4, 0..300),
            leaving: Vec<i8>,
            least in -5.0..5.0_f64,
            width in -1.0..8.0_f64,
            unit in 0.5..2.0_f64,
        ) {
            let wave = [resting, leaving].concat();
            let greatest = least + width;
            agree(&wave, least, greatest);
            agree(&wave.iter().map(|&x| i16::from(x) * 200).collect::<Vec<_>>(), least * 200.0, greatest * 200.0);
            agree(&wave.iter().map(|&x| i32::from(x) << 24).collect::<Vec<_>>(), least * 1.6e7, greatest * 1.6e7);
            // Every seventh is no number.
            let float = |x: i8| if x % 7 == 6 { f64::NAN } else { f64::from(x) * unit };
            agree(&wave.iter().map(|&x| float(x) as f32).collect::<Vec<_>>(), least, greatest);
            agree(&wave.iter().map(|&x| float(x)).collect::<Vec<_>>(), least, greatest);
        }

        #[test]
        fn borders_are_the_nearest_samples_inside(value: f64, near in -40_000.0..40_000.0_f64) {
            for value in [value, near, near * 1e-3, near.round(), f64::INFINITY, -f64::INFINITY] {
                if value.is_nan() { continue; }
                for (above, below) in [
                    (i16::at_least(value).map(|x| (x.number(), x.checked_sub(1).map(f64::from))),
                     i16::at_most(value).map(|x| (x.number(), x.checked_add(1).map(f64::from)))),
                    (f32::at_least(value).map(|x| (x.number(), (x > f32::NEG_INFINITY).then(|| x.next_down().into()))),
                     f32::at_most(value).map(|x| (x.number(), (x < f32::INFINITY).then(|| x.next_up().into())))),
                ] {
                    // Inside, and the next one would be outside.
                    if let Some((border, next)) = above {
                        proptest::prop_assert!(border >= value && next.is_none_or(|next| next < value));
                    }
                    if let Some((border, next)) = below {
                        proptest::prop_assert!(border <= value && next.is_none_or(|next| next > value));
                    }
                    proptest::prop_assert!(above.is_some() || value > 32_767.0);
                    proptest::prop_assert!(below.is_some() || value < -32_768.0);
                }
            }
        }
    }
}
