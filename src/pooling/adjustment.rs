//! The small-sample adjustment of the cluster-robust variance CR2 for one cluster.
//!
//! Bell & McCaffrey 2002 (Survey Methodology 28:169); Pustejovsky & Tipton 2018 (J Bus Econ Stat
//! 36:672). The adjustment is `A = D B^{+1/2} D` with `D = Phi^{1/2}`, `Phi` the diagonal of total
//! variances and `B = D (I - H) Phi (I - H)' D`, of which `B^{+1/2}` is the symmetric square root
//! of the pseudo-inverse.

use nalgebra::{DMatrix, DVector};

use super::sums::compensated_sum;

/// Eigenvalues below this share of the largest count as zero: far above the rounding of an
/// eigenvalue decomposition (about 1e-16 times the size), far below a real direction.
const RANK_TOLERANCE: f64 = 1e-12;

/// `B` in its eigenvectors, after `Phi` was divided by `scale`, its largest entry, which keeps its
/// square in range; the factor returns through `Phi^{-1}`.
#[derive(Debug)]
pub(super) struct Adjustment {
    root: DVector<f64>,
    eigenvectors: DMatrix<f64>,
    eigenvalues: DVector<f64>,
    scale: f64,
}

/// A vector after adjustment.
#[derive(Debug)]
pub(super) struct Adjusted {
    /// `A Phi^{-1} D c` for the vector `c` that was given.
    pub(super) vector: DVector<f64>,
    /// The squared length of `c / sqrt(scale)` projected on the range of `B`, which is the
    /// diagonal entry of the Satterthwaite matrix.
    pub(super) diagonal: f64,
}

impl Adjustment {
    /// `root` is the diagonal of `D` and `b` the matrix `B`, both after the division by `scale`.
    pub(super) fn new(root: DVector<f64>, b: DMatrix<f64>, scale: f64) -> Self {
        let eigen = b.symmetric_eigen();
        Self {
            root,
            eigenvectors: eigen.eigenvectors,
            eigenvalues: eigen.eigenvalues,
            scale,
        }
    }

    /// Adjusts `column`, which is `D^{-1}` times a column of the design's hat factor, `D` after the
    /// division by `scale`.
    pub(super) fn apply(&self, column: &DVector<f64>) -> Adjusted {
        let cutoff = RANK_TOLERANCE * self.eigenvalues.max();
        let coordinates = self.eigenvectors.tr_mul(column);
        let kept = coordinates.zip_map(
            &self.eigenvalues,
            |x, value| if cutoff < value { x } else { 0.0 },
        );
        let shrunk = kept.zip_map(&self.eigenvalues, |x, value| {
            if cutoff < value {
                x / value.sqrt()
            } else {
                0.0
            }
        });
        // A singular B has lost the part of the column outside its range.
        let vector = self.root.component_mul(&(&self.eigenvectors * shrunk)) / self.scale;
        Adjusted {
            vector,
            diagonal: compensated_sum(kept.iter().map(|x| x * x)) / self.scale,
        }
    }
}
