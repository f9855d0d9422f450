//! The layers of a picture: what each kind of mark looks like, from back to front.
//!
//! Marks differ by shape, by outline or by dashes before they differ by colour, so that a picture
//! can be read in black and white. Colours are those of a light ground; a style sheet sets others
//! through the classes.

/// A kind of mark. The order is that of drawing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(in crate::plots) enum Layer {
    /// Differences too small to be worthwhile.
    Zone,
    /// Confidence region of a curve or a mean.
    Band,
    /// Outline of [`Layer::Band`], where it has to stand out.
    BandEdge,
    /// Edges of [`Layer::Zone`].
    ZoneEdge,
    /// Lines to compare with: limits, targets, halves.
    Guide,
    /// The lines of no difference.
    Zero,
    /// Axes, ticks, and lines that set parts of a picture apart.
    Axis,
    /// Ranges of pairs so many that they run together: thin rather than faint, since faint ones are
    /// gone in sunlight.
    Ranges,
    /// Ranges of single pairs.
    Range,
    /// Pairs in a field, circles.
    Point,
    /// Points of pairs, dots of one stroke.
    Dot,
    /// Pairs beyond the axis, arrowheads.
    Outside,
    /// Outline of what is expected of another such player.
    ExpectedEdge,
    /// Bars of what is expected of another such player.
    Expected,
    /// Boxes round words.
    Box,
    /// Counts that rise over time.
    Step,
    /// A pooled estimate that is a part of the whole, square with its interval.
    Part,
    /// The same, hollow: apart from the rest, or of another kind.
    PartApart,
    /// A pooled curve, or the line of a pooled mean.
    Curve,
    /// The pooled estimate, a diamond.
    Pooled,
    /// The same, hollow: no part of the answer.
    PooledApart,
    /// The reader's own.
    Own,
}

impl Layer {
    /// The class by which a style sheet finds the layer.
    pub(super) const fn class(self) -> &'static str {
        match self {
            Self::Zone => "mark-zone",
            Self::Band => "mark-band",
            Self::BandEdge => "mark-band-edge",
            Self::ZoneEdge => "mark-zone-edge",
            Self::Guide => "mark-guide",
            Self::Zero => "mark-zero",
            Self::Axis => "mark-axis",
            Self::Ranges => "mark-ranges",
            Self::Range => "mark-range",
            Self::Point => "mark-point",
            Self::Dot => "mark-dot",
            Self::Outside => "mark-outside",
            Self::ExpectedEdge => "mark-expected-edge",
            Self::Expected => "mark-expected",
            Self::Box => "mark-box",
            Self::Step => "mark-step",
            Self::Part => "mark-part",
            Self::PartApart => "mark-part-apart",
            Self::Curve => "mark-curve",
            Self::Pooled => "mark-pooled",
            Self::PooledApart => "mark-pooled-apart",
            Self::Own => "mark-own",
        }
    }

    /// Presentation attributes.
    pub(super) const fn paint(self) -> &'static str {
        match self {
            Self::Zone => r##"fill="#1c1b19" fill-opacity="0.09""##,
            Self::Band => r##"fill="#86305f" fill-opacity="0.2""##,
            Self::BandEdge => r##"fill="none" stroke="#86305f" stroke-width="2""##,
            Self::ZoneEdge => r##"stroke="#1c1b19" stroke-width="1" stroke-dasharray="1.5 3""##,
            Self::Guide => {
                r##"fill="none" stroke="#1c1b19" stroke-width="1.5" stroke-dasharray="6 4""##
            }
            Self::Zero | Self::Axis => r##"stroke="#1c1b19" stroke-width="1""##,
            Self::Ranges => r##"fill="none" stroke="#1c1b19" stroke-width="0.7""##,
            Self::Range => {
                r##"fill="none" stroke="#1c1b19" stroke-width="1" stroke-opacity="0.5""##
            }
            Self::Point => r##"fill="#1c1b19" fill-opacity="0.5""##,
            Self::Dot => {
                r##"fill="none" stroke="#1c1b19" stroke-width="6" stroke-linecap="round""##
            }
            Self::Outside => r##"fill="#1c1b19""##,
            Self::ExpectedEdge => {
                r##"fill="none" stroke="#86305f" stroke-width="2" stroke-dasharray="10 4 3 4""##
            }
            Self::Expected => r##"stroke="#86305f" stroke-width="3""##,
            Self::Box => r##"fill="#fdfdfb" stroke="#1c1b19" stroke-width="1.5""##,
            Self::Step => r##"fill="none" stroke="#1c1b19" stroke-width="2.5""##,
            Self::Part | Self::Own => r##"fill="#1c1b19" stroke="#1c1b19" stroke-width="2""##,
            Self::PartApart => r##"fill="#fdfdfb" stroke="#1c1b19" stroke-width="2""##,
            Self::Curve => r##"fill="none" stroke="#86305f" stroke-width="2.5""##,
            Self::Pooled => {
                r##"fill="#86305f" stroke="#86305f" stroke-width="1" stroke-linejoin="round""##
            }
            Self::PooledApart => {
                r##"fill="#fdfdfb" stroke="#86305f" stroke-width="2" stroke-linejoin="round""##
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Layer;

    const ALL: [Layer; 22] = [
        Layer::Zone,
        Layer::Band,
        Layer::BandEdge,
        Layer::ZoneEdge,
        Layer::Guide,
        Layer::Zero,
        Layer::Axis,
        Layer::Ranges,
        Layer::Range,
        Layer::Point,
        Layer::Dot,
        Layer::Outside,
        Layer::ExpectedEdge,
        Layer::Expected,
        Layer::Box,
        Layer::Step,
        Layer::Part,
        Layer::PartApart,
        Layer::Curve,
        Layer::Pooled,
        Layer::PooledApart,
        Layer::Own,
    ];

    #[test]
    fn the_style_sheet_colours_every_layer_anew_for_a_dark_ground() {
        let style = include_str!("../../pages/style/figures.css");
        assert!(ALL.is_sorted(), "every layer once, from back to front");
        for layer in ALL {
            let class = layer.class();
            let ends = [format!(".{class},\n"), format!(".{class} {{\n")];
            assert!(ends.iter().any(|end| style.contains(end)), "{class}");
        }
    }
}
