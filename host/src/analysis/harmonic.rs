//! The five-term deviation curve, its least-squares fit, and the way from few points to a full card.
//!
//! `deviation = A + B sin C + C cos C + D sin 2C + E cos 2C`, where C is the COMPASS heading and
//! east is plus. A is a turn of the sensor against the boat's fore-and-aft line, B and C come from
//! hard iron, D and E from soft iron. The form holds for deviations up to some 20 degrees; above, its
//! error grows as the square of the deviation (10' at 7 degrees, 1.5 degrees at 21: *Elementary
//! manual for the deviations of the compass in iron ships*, 1875).

/// One observed deviation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// The COMPASS heading in degrees, 0 up to but not including 360.
    pub compass_deg: f64,
    /// The deviation there in degrees, east plus.
    pub deviation_deg: f64,
}

/// The coefficients A B C D E in degrees; one that was not determined is zero.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Coefficients(pub [f64; TERMS]);

/// How many terms the curve has.
pub const TERMS: usize = 5;

/// Their names, in the order of [`Coefficients`].
pub const NAMES: [&str; TERMS] = ["A", "B", "C", "D", "E"];

/// A fitted curve.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// The coefficients.
    pub coefficients: Coefficients,
    /// Which of them the points determine.
    pub determined: [bool; TERMS],
    /// Point minus curve in degrees, in the order of the points.
    pub residuals: Vec<f64>,
    /// The standard deviation of one point about the curve, degrees: root of the sum of squares over
    /// points minus terms. `None` where the curve has as many terms as there are points.
    pub sigma_deg: Option<f64>,
    /// The inverse of the normal matrix: times the variance of one point it is the covariance of the
    /// coefficients. Zero in rows and columns that were not determined.
    pub inverse: Box<[[f64; TERMS]; TERMS]>,
}

/// A coefficient counts as determined while its variance is at most this times that of the same
/// number of points spread evenly: three times the sigma, nine times the variance.
///
/// Beyond it the term follows the errors of the points rather than the boat.
const WORST_INFLATION: f64 = 9.0;

impl Coefficients {
    /// The deviation on a COMPASS heading, both in degrees, east plus.
    pub fn deviation(&self, compass_deg: f64) -> f64 {
        basis(compass_deg).iter().zip(self.0).map(|(value, coefficient)| value * coefficient).sum()
    }
}

/// The five functions of the curve at a compass heading in degrees.
pub fn basis(compass_deg: f64) -> [f64; TERMS] {
    let (sin, cos) = compass_deg.to_radians().sin_cos();
    [1.0, sin, cos, 2.0 * sin * cos, cos * cos - sin * sin]
}

/// Fits the curve to `points` by least squares, with as many of the five terms as they determine.
///
/// Terms are tried in the order A to E, and one is taken only if it and those taken before stay
/// determined with it: eight spread points give all five, the four cardinal ones all but D, three
/// spread ones A B C. `None` for fewer than three points, or where not even A B C can be told apart.
pub fn fit(points: &[Point]) -> Option<Fit> {
    if points.len() < 3 {
        return None;
    }
    let rows: Vec<[f64; TERMS]> = points.iter().map(|point| basis(point.compass_deg)).collect();
    let mut taken: Vec<usize> = Vec::new();
    let mut inverse = Vec::new();
    for term in 0..TERMS {
        taken.push(term);
        match inverse_normal(&rows, &taken).filter(|inverse| are_determined(inverse, &taken, points.len())) {
            Some(found) => inverse = found,
            None => {
                taken.pop();
            }
        }
    }
    if taken.len() < 3 || taken[2] != 2 {
        return None;
    }
    let mut coefficients = Coefficients::default();
    let mut determined = [false; TERMS];
    let moment = |term: usize| -> f64 { rows.iter().zip(points).map(|(row, p)| row[term] * p.deviation_deg).sum() };
    for (line, &term) in inverse.iter().zip(&taken) {
        determined[term] = true;
        coefficients.0[term] = line.iter().zip(&taken).map(|(weight, &other)| weight * moment(other)).sum();
    }
    let residuals: Vec<f64> = points.iter().map(|p| p.deviation_deg - coefficients.deviation(p.compass_deg)).collect();
    let freedom = points.len() - taken.len();
    let squares: f64 = residuals.iter().map(|residual| residual * residual).sum();
    let sigma_deg = (freedom > 0).then(|| (squares / freedom as f64).sqrt());
    let mut full = Box::new([[0.0; TERMS]; TERMS]);
    for (line, &row) in inverse.iter().zip(&taken) {
        line.iter().zip(&taken).for_each(|(value, &column)| full[row][column] = *value);
    }
    Some(Fit { coefficients, determined, residuals, sigma_deg, inverse: full })
}

/// Whether every coefficient's variance stays within [`WORST_INFLATION`] of an even spread's, which
/// is 1/n for A and 2/n for the others.
fn are_determined(inverse: &[Vec<f64>], taken: &[usize], points: usize) -> bool {
    taken.iter().enumerate().all(|(at, &term)| {
        let even = if term == 0 { 1.0 } else { 2.0 };
        inverse[at][at] * points as f64 <= WORST_INFLATION * even
    })
}

/// The inverse of the normal matrix of the terms `taken`, or `None` where it is singular.
fn inverse_normal(rows: &[[f64; TERMS]], taken: &[usize]) -> Option<Vec<Vec<f64>>> {
    let n = taken.len();
    // The matrix with the unit matrix at its right side; Gauss and Jordan turn one into the other.
    let mut matrix: Vec<Vec<f64>> = (0..n)
        .map(|i| {
            let left = (0..n).map(|j| rows.iter().map(|row| row[taken[i]] * row[taken[j]]).sum());
            left.chain((0..n).map(|j| if i == j { 1.0 } else { 0.0 })).collect()
        })
        .collect();
    for column in 0..n {
        let best = (column..n).max_by(|&a, &b| matrix[a][column].abs().total_cmp(&matrix[b][column].abs()))?;
        matrix.swap(column, best);
        let pivot = matrix[column][column];
        if pivot.abs().is_nan() || pivot.abs() <= 1e-9 * rows.len() as f64 {
            return None;
        }
        matrix[column].iter_mut().for_each(|value| *value /= pivot);
        let line = matrix[column].clone();
        for (_, other) in matrix.iter_mut().enumerate().filter(|(at, _)| *at != column) {
            let factor = other[column];
            other.iter_mut().zip(&line).for_each(|(value, below)| *value -= factor * below);
        }
    }
    Some(matrix.into_iter().map(|row| row[n..].to_vec()).collect())
}

/// Points of a card, and how the curve between the owner's points was drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawn {
    /// By rising compass heading; [`FULL`] of them where the fit drew it, else the owner's own.
    pub points: Vec<Point>,
    /// How.
    pub how: How,
}

/// How the curve between the owner's points is drawn.
#[derive(Clone, Debug, PartialEq)]
pub enum How {
    /// By the five-term fit, bent to pass through every point.
    FiveTerm(Fit),
    /// By straight lines between the points as they stand.
    Straight(Straight),
}

/// Why the points are joined by straight lines.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Straight {
    /// Fewer than [`FEWEST`] points do not determine five terms.
    TooFew(usize),
    /// More than [`MOST`] points: they draw the curve themselves.
    Dense(usize),
    /// A gap of over [`WIDEST_GAP_DEG`] degrees: in it a fit would be a guess.
    Gap {
        /// The heading where it begins, degrees.
        from_deg: f64,
        /// The heading where it ends, degrees.
        to_deg: f64,
    },
    /// The points bunch, so that they do not determine all five terms.
    Bunched,
}

/// How many points a full card has: one every 5 degrees, as many as the core's card holds.
pub const FULL: usize = 72;
/// The fewest points that five terms can be fitted to.
pub const FEWEST: usize = 5;
/// The most points that are still filled up: one every 15 degrees, after which lines do as well.
pub const MOST: usize = 24;
/// The widest gap in degrees that is still filled by the fit: the cardinal points' own.
pub const WIDEST_GAP_DEG: f64 = 90.0;

/// Draws the curve through `points`, whose headings are distinct and in 0 to 360.
///
/// 5 to 24 points without a gap of over 90 degrees become 72, because straight lines between 8
/// points miss the curve by up to 2.3 degrees (handbook swing, see the tests). The fit alone would
/// overrule what the owner wrote down wherever the boat's curve is not quite five-term or a point is
/// off. The points rule: to the fitted curve is added what it misses by, drawn straight from point
/// to point. So the card passes through every point exactly, a smooth swing is hardly bent at all,
/// and a doubtful point stays visible in [`Fit::residuals`] instead of being smoothed away.
pub fn draw(points: &[Point]) -> Drawn {
    let mut own = points.to_vec();
    own.sort_by(|a, b| a.compass_deg.total_cmp(&b.compass_deg));
    let straight = |why| How::Straight(why);
    let how = match (own.len(), widest_gap(&own)) {
        (few, _) if few < FEWEST => straight(Straight::TooFew(few)),
        (_, Some((from_deg, to_deg, gap))) if gap > WIDEST_GAP_DEG => straight(Straight::Gap { from_deg, to_deg }),
        (many, _) if many > MOST => straight(Straight::Dense(many)),
        _ => match fit(&own).filter(|fit| fit.determined == [true; TERMS]) {
            Some(fit) => How::FiveTerm(fit),
            None => straight(Straight::Bunched),
        },
    };
    let points = match &how {
        How::FiveTerm(fit) => fill(&own, fit),
        How::Straight(_) => own,
    };
    Drawn { points, how }
}

/// The widest way between neighbours on the circle: from, to and its size, degrees.
fn widest_gap(sorted: &[Point]) -> Option<(f64, f64, f64)> {
    let next = sorted.iter().cycle().skip(1);
    let gaps = sorted.iter().zip(next).map(|(low, high)| {
        let gap = (high.compass_deg - low.compass_deg).rem_euclid(360.0);
        (low.compass_deg, high.compass_deg, if gap == 0.0 { 360.0 } else { gap })
    });
    gaps.max_by(|a, b| a.2.total_cmp(&b.2))
}

/// The owner's points and as many multiples of 5 degrees as there is room for, furthest from them first.
fn fill(own: &[Point], fit: &Fit) -> Vec<Point> {
    let missed: Vec<Point> = own
        .iter()
        .zip(&fit.residuals)
        .map(|(point, &residual)| Point { compass_deg: point.compass_deg, deviation_deg: residual })
        .collect();
    let step = 360.0 / FULL as f64;
    let mut grid: Vec<(f64, f64)> = (0..FULL)
        .map(|at| at as f64 * step)
        .map(|heading| (heading, own.iter().map(|p| apart(p.compass_deg, heading)).fold(f64::INFINITY, f64::min)))
        .filter(|&(_, nearest)| nearest > 0.0)
        .collect();
    grid.sort_by(|a, b| b.1.total_cmp(&a.1));
    grid.truncate(FULL - own.len());
    let drawn = grid.into_iter().map(|(compass_deg, _)| Point {
        compass_deg,
        deviation_deg: fit.coefficients.deviation(compass_deg) + straight(&missed, compass_deg),
    });
    let mut all: Vec<Point> = own.iter().copied().chain(drawn).collect();
    all.sort_by(|a, b| a.compass_deg.total_cmp(&b.compass_deg));
    all
}

/// How far two headings are apart, degrees, 0 to 180.
fn apart(a: f64, b: f64) -> f64 {
    let way = (a - b).rem_euclid(360.0);
    way.min(360.0 - way)
}

/// The value at a heading on straight lines between `sorted` points, through north as anywhere.
pub fn straight(sorted: &[Point], compass_deg: f64) -> f64 {
    let (Some(first), Some(last)) = (sorted.first(), sorted.last()) else { return 0.0 };
    let after = sorted.partition_point(|point| point.compass_deg <= compass_deg);
    let low = if after == 0 { last } else { &sorted[after - 1] };
    let high = sorted.get(after).unwrap_or(first);
    let step = (high.compass_deg - low.compass_deg).rem_euclid(360.0);
    if step == 0.0 {
        return low.deviation_deg;
    }
    let along = (compass_deg - low.compass_deg).rem_euclid(360.0);
    low.deviation_deg + (high.deviation_deg - low.deviation_deg) * along / step
}

#[cfg(test)]
mod tests;
