//! Many tests at once: p values corrected so that all claims together are right
//! with the confidence asked for. It runs no tests itself.

use super::StatisticsFault;

/// p values adjusted by S. Holm, "A simple sequentially rejective multiple test
/// procedure", Scandinavian Journal of Statistics 6 (1979) 65-70, in the order
/// given. Compare them with alpha as they are.
///
/// # Errors
/// `Argument` for a p value outside 0 to 1.
pub fn holm(p_values: &[f64]) -> Result<Vec<f64>, StatisticsFault> {
    if p_values.iter().any(|p| !(0.0..=1.0).contains(p)) {
        return Err(StatisticsFault::Argument("a p value"));
    }
    let mut order: Vec<usize> = (0..p_values.len()).collect();
    order.sort_by(|a, b| p_values[*a].total_cmp(&p_values[*b]));
    let mut adjusted = vec![0.0; p_values.len()];
    let mut least = 0.0_f64;
    for (place, index) in order.into_iter().enumerate() {
        let left = (p_values.len() - place) as f64;
        least = least.max((left * p_values[index]).min(1.0));
        adjusted[index] = least;
    }
    Ok(adjusted)
}
