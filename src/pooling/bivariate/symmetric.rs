//! Symmetric 2 x 2 matrices over any of the number types of the sums.

use crate::pooling::sums::{Double, Real};

/// The matrix with rows `(aa, ab)` and `(ab, bb)`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Symmetric<T> {
    pub(super) aa: T,
    pub(super) ab: T,
    pub(super) bb: T,
}

impl<T: Real> Symmetric<T> {
    /// `x x'`.
    pub(super) fn outer([a, b]: [T; 2]) -> Self {
        Self {
            aa: a * a,
            ab: a * b,
            bb: b * b,
        }
    }

    /// `x y' + y x'`.
    pub(super) fn outer_pair([a, b]: [T; 2], [c, d]: [T; 2]) -> Self {
        Self {
            aa: a * c + a * c,
            ab: a * d + b * c,
            bb: b * d + b * d,
        }
    }

    pub(super) fn plus(self, other: Self) -> Self {
        Self {
            aa: self.aa + other.aa,
            ab: self.ab + other.ab,
            bb: self.bb + other.bb,
        }
    }

    pub(super) fn minus(self, other: Self) -> Self {
        Self {
            aa: self.aa - other.aa,
            ab: self.ab - other.ab,
            bb: self.bb - other.bb,
        }
    }

    pub(super) fn determinant(self) -> T {
        self.aa * self.bb - self.ab * self.ab
    }

    /// The inverse, from a determinant that may be known better than from the entries.
    pub(super) fn inverse(self, determinant: T) -> Self {
        let zero = T::from_double(Double::ZERO);
        Self {
            aa: self.bb / determinant,
            ab: (zero - self.ab) / determinant,
            bb: self.aa / determinant,
        }
    }

    /// The product with a vector.
    pub(super) fn times(self, [a, b]: [T; 2]) -> [T; 2] {
        [self.aa * a + self.ab * b, self.ab * a + self.bb * b]
    }

    /// `x' A y`.
    pub(super) fn form(self, x: [T; 2], y: [T; 2]) -> T {
        dot(x, self.times(y))
    }

    /// `R A R'` for the matrix with these rows.
    pub(super) fn between(self, [first, second]: [[T; 2]; 2]) -> Self {
        Self {
            aa: self.form(first, first),
            ab: self.form(first, second),
            bb: self.form(second, second),
        }
    }

    /// Its rows, which are its columns.
    pub(super) fn rows(self) -> [[T; 2]; 2] {
        [[self.aa, self.ab], [self.ab, self.bb]]
    }

    /// The change of `tr(A X)` with the entries `(aa, ab, bb)` of a symmetric `X`.
    pub(super) fn slopes(self) -> [T; 3] {
        [self.aa, self.ab + self.ab, self.bb]
    }

    /// The same matrix in another type.
    pub(super) fn cast<U>(self, cast: impl Fn(T) -> U) -> Symmetric<U> {
        Symmetric {
            aa: cast(self.aa),
            ab: cast(self.ab),
            bb: cast(self.bb),
        }
    }
}

/// `x' y`.
pub(super) fn dot<T: Real>([a, b]: [T; 2], [c, d]: [T; 2]) -> T {
    a * c + b * d
}
