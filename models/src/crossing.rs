//! Where a function crosses zero.

/// The last number from `a` to `b` at which a function is not above zero, if it is not above zero at `a` and is above zero at
/// `b`: the Illinois method, with bisection if it leaves the bracket.
pub(crate) fn last_below(a: f64, b: f64, f: impl Fn(f64) -> f64) -> f64 {
    let (mut a, mut b) = (a, b);
    let (mut at_a, mut at_b) = (f(a).min(0.0), f(b));
    let mut last_was_b = None;
    for _ in 0..100 {
        if (b - a).abs() <= 4.0 * f64::EPSILON * b.abs() {
            break;
        }
        let mut v = (a * at_b - b * at_a) / (at_b - at_a);
        if !(v > a.min(b) && v < a.max(b)) {
            v = 0.5 * (a + b);
        }
        let at_v = f(v);
        if at_v > 0.0 {
            (b, at_b) = (v, at_v);
            if last_was_b.replace(true) == Some(true) {
                at_a *= 0.5;
            }
        } else {
            (a, at_a) = (v, at_v);
            if at_v == 0.0 {
                break;
            }
            if last_was_b.replace(false) == Some(false) {
                at_b *= 0.5;
            }
        }
    }
    a
}
