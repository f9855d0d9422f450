//! Quantiles and tails against 30 digits of mpmath 1.3, from another algorithm than the code's
//! (hypergeometric series at high precision). The tables are the output of:
//!
//! ```python
//! from mpmath import mp, mpf, betainc, gammainc, erfc, findroot, sqrt
//! mp.dps = 30
//! def t_tail(t, n):
//!     return betainc(mpf(n) / 2, 0.5, 0, n / (n + t * t), regularized=True) / 2
//! def chi_upper(x, n):
//!     return gammainc(mpf(n) / 2, x / 2, mp.inf, regularized=True)
//! def solve(f, low, high):
//!     return findroot(f, (mpf(low), mpf(high)), solver="anderson", tol=1e-40)
//! for n, p, low, high in [(1, 0.025, 12, 13), (2, 0.25, 0.8, 0.9), (4.5, 0.025, 2, 3), (11, 0.005, 3, 4), (298, 0.025, 1.9, 2), (2, 1e-8, 5000, 9000)]:
//!     print("t", n, p, mp.nstr(solve(lambda t: t_tail(t, n) / p - 1, low, high), 20))
//! for n, p, low, high in [(1, 0.025, 5, 5.1), (4, 0.025, 11, 12), (12, 0.25, 14, 16), (299, 0.025, 340, 360), (3, 1e-8, 35, 45)]:
//!     print("upper", n, p, mp.nstr(solve(lambda x: chi_upper(x, n) / p - 1, low, high), 20))
//! for n, p, low, high in [(1, 0.025, 9e-4, 1e-3), (4, 0.025, 0.4, 0.5), (12, 0.25, 8, 9), (299, 0.025, 240, 260), (3, 1e-8, 1e-6, 1e-4)]:
//!     print("lower", n, p, mp.nstr(solve(lambda x: (1 - chi_upper(x, n)) / p - 1, low, high), 20))
//! for n, t in [(1, 0.5), (3.25, 1.7), (11, 9), (299, 1.96), (299, 12)]:
//!     print("t tail", n, t, mp.nstr(t_tail(mpf(t), n), 20))
//! for n, x in [(1, 3.8), (8, 24.8), (12, 3.0), (12, 500.0), (299, 400.0)]:
//!     print("chi tail", n, x, mp.nstr(chi_upper(mpf(x), n), 20))
//! for z in [0.5, 1.0, 1.96, 8.0, 36.0]:
//!     print("normal", z, mp.nstr(erfc(mpf(z) / sqrt(2)), 20))
//! ```

#![expect(
    clippy::excessive_precision,
    reason = "reference values keep all digits as printed"
)]

use super::{ChiSquared, Normal, StudentT, log_poisson_density};
use crate::pooling::Reason;
use crate::pooling::tests::assert_close;

#[test]
fn student_t_quantiles() {
    let table = [
        (1.0, 0.025, 12.706_204_736_174_703_938),
        (2.0, 0.25, 0.816_496_580_927_726_032_73),
        (4.5, 0.025, 2.658_912_347_204_403_724_4),
        (11.0, 0.005, 3.105_806_515_539_280_995_4),
        (298.0, 0.025, 1.967_956_506_496_819_834_5),
        (2.0, 1e-8, 7_071.067_705_799_457_550_1),
    ];
    for (df, tail, expected) in table {
        assert_close(
            StudentT::new(df).unwrap().upper_quantile(tail).unwrap(),
            expected,
            1e-14,
            0.0,
        );
    }
}

#[test]
fn student_t_tails() {
    let table = [
        (1.0, 0.5, 0.352_416_382_349_566_725_82),
        (3.25, 1.7, 0.090_309_735_761_755_457_718),
        (11.0, 9.0, 1.048_079_183_504_404_572_8e-6),
        (299.0, 1.96, 0.025_462_175_688_637_742_322),
        (299.0, 12.0, 1.200_248_779_423_266_597_2e-27),
    ];
    for (df, t, expected) in table {
        let t_distribution = StudentT::new(df).unwrap();
        assert_close(t_distribution.upper_tail(t).unwrap(), expected, 3e-14, 0.0);
        assert_close(
            t_distribution.two_sided_p(-t).unwrap(),
            2.0 * expected,
            3e-14,
            0.0,
        );
    }
}

#[test]
fn chi_squared_quantiles() {
    let upper = [
        (1.0, 0.025, 5.023_886_187_314_888_86),
        (4.0, 0.025, 11.143_286_781_877_797_064),
        (12.0, 0.25, 14.845_403_671_040_177_907),
        (299.0, 0.025, 348.794_337_063_051_126_68),
        (3.0, 1e-8, 40.129_999_017_688_222_316),
    ];
    let lower = [
        (1.0, 0.025, 0.000_982_069_117_175_256_021_4),
        (4.0, 0.025, 0.484_418_557_087_929_820_4),
        (12.0, 0.25, 8.438_418_766_135_793_393_1),
        (299.0, 0.025, 252.992_448_266_719_238_6),
        (3.0, 1e-8, 0.000_011_223_330_973_050_007_799),
    ];
    for (df, tail, expected) in upper {
        assert_close(
            ChiSquared::new(df).unwrap().upper_quantile(tail).unwrap(),
            expected,
            1e-13,
            0.0,
        );
    }
    for (df, tail, expected) in lower {
        assert_close(
            ChiSquared::new(df).unwrap().lower_quantile(tail).unwrap(),
            expected,
            1e-13,
            0.0,
        );
    }
}

#[test]
fn chi_squared_tails() {
    let table = [
        (1.0, 3.8, 0.051_252_582_857_369_507_569),
        (8.0, 24.8, 0.001_680_592_867_835_750_718_5),
        (12.0, 3.0, 0.995_544_019_224_752_150_81),
        (12.0, 500.0, 2.216_339_919_219_577_086_1e-99),
        (299.0, 400.0, 0.000_082_880_241_042_477_430_636),
    ];
    for (df, x, expected) in table {
        let chi_squared = ChiSquared::new(df).unwrap();
        assert_close(chi_squared.upper_tail(x).unwrap(), expected, 1e-13, 0.0);
        assert_close(
            chi_squared.lower_tail(x).unwrap(),
            1.0 - expected,
            1e-12,
            0.0,
        );
    }
}

#[test]
fn normal_tails_and_quantiles() {
    let table = [
        (0.5, 0.617_075_077_451_973_792_72),
        (1.0, 0.317_310_507_862_914_102_83),
        (1.96, 0.049_995_790_296_440_872_426),
        (8.0, 1.244_192_114_854_356_824_7e-15),
        (36.0, 8.365_248_131_594_566_663_5e-284),
    ];
    for (z, expected) in table {
        assert_close(Normal::two_sided_p(-z).unwrap(), expected, 1e-13, 0.0);
        assert_close(
            Normal::upper_quantile(0.5 * expected).unwrap(),
            z,
            1e-14,
            0.0,
        );
    }
    assert_close(Normal::two_sided_p(1e200).unwrap(), 0.0, 0.0, 0.0);
}

#[test]
fn quantiles_undo_tails_up_to_a_million_degrees_of_freedom() {
    for df in [1.0, 1.5, 2.0, 7.0, 31.0, 33.5, 400.0, 12_345.0, 999_999.0] {
        let (t, chi_squared) = (StudentT::new(df).unwrap(), ChiSquared::new(df).unwrap());
        for tail in [0.25, 0.1, 0.025, 1e-3, 1e-9] {
            assert_close(
                t.upper_tail(t.upper_quantile(tail).unwrap()).unwrap(),
                tail,
                1e-12,
                0.0,
            );
            let upper = chi_squared.upper_quantile(tail).unwrap();
            // A rounding of the quantile moves the tail by about df^{1/2} as much.
            assert_close(
                chi_squared.upper_tail(upper).unwrap(),
                tail,
                1e-12 * df.sqrt(),
                0.0,
            );
            let lower = chi_squared.lower_quantile(tail).unwrap();
            assert_close(
                chi_squared.lower_tail(lower).unwrap(),
                tail,
                1e-12 * df.sqrt(),
                0.0,
            );
        }
    }
}

#[test]
fn what_is_outside_the_range_is_refused() {
    for df in [0.0, 0.5, f64::INFINITY, f64::NAN] {
        assert_eq!(StudentT::new(df), Err(Reason::OutOfRange));
        assert_eq!(ChiSquared::new(df), Err(Reason::OutOfRange));
    }
    let (t, chi_squared) = (StudentT::new(3.0).unwrap(), ChiSquared::new(3.0).unwrap());
    for tail in [0.0, 0.3, -1.0, f64::NAN] {
        assert_eq!(t.upper_quantile(tail), Err(Reason::OutOfRange));
        assert_eq!(chi_squared.upper_quantile(tail), Err(Reason::OutOfRange));
        assert_eq!(chi_squared.lower_quantile(tail), Err(Reason::OutOfRange));
    }
    assert_eq!(Normal::upper_quantile(f64::NAN), Err(Reason::OutOfRange));
    for x in [-1.0, f64::NAN] {
        assert_eq!(t.upper_tail(x), Err(Reason::OutOfRange));
        assert_eq!(chi_squared.upper_tail(x), Err(Reason::OutOfRange));
    }
}

#[test]
fn t_quantiles_of_any_probability_invert_the_tail() {
    for df in [1.0, 2.0, 4.5, 30.0, 1e5] {
        let t = StudentT::new(df).unwrap();
        assert_close(t.quantile(0.5).unwrap(), 0.0, 0.0, 0.0);
        for p in [1e-9, 0.1, 0.2499, 0.25, 0.26, 0.4, 0.499_999] {
            let lower = t.quantile(p).unwrap();
            assert_close(t.upper_tail(-lower).unwrap(), p, 1e-13, 0.0);
            if 0.1 <= p {
                assert_close(t.quantile(1.0 - p).unwrap(), -lower, 1e-9, 0.0);
            }
        }
    }
    let t = StudentT::new(3.0).unwrap();
    for p in [0.0, 1.0, -0.1, f64::NAN] {
        assert_eq!(t.quantile(p), Err(Reason::OutOfRange));
    }
}

#[test]
fn logarithms_of_poisson_densities_add_up_to_one() {
    for z in [0.3, 7.0, 40.0, 900.0] {
        let total: f64 = (0..2_000)
            .map(|a| log_poisson_density(f64::from(a), z).exp())
            .sum();
        assert_close(total, 1.0, 1e-13, 0.0);
    }
    // Far down the tail the density itself underflows; ln(e^-1 / 1000!) by ln 1000! to 16 digits
    // by mpmath, 5912.128178488163.
    let deep = log_poisson_density(1_000.0, 1.0);
    assert_close(deep, -5_913.128_178_488_163, 1e-14, 0.0);
}
