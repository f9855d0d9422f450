//! What can be wrong with a document, and how it is said.

use crate::vocabulary::word_list;

word_list! {
    /// Stable codes of faults. A fault refuses the document.
    FaultCode {
        /// The bytes are not UTF-8.
        NotUtf8 = "not_utf8",
        /// The text is not JSON, or a number in it is beyond what a double holds.
        NotJson = "not_json",
        /// Arrays and objects are nested too deep.
        TooDeep = "too_deep",
        /// One object has the same key twice.
        DuplicateKey = "duplicate_key",
        /// A required field is absent.
        Missing = "missing",
        /// A field that the schema does not know.
        UnknownField = "unknown_field",
        /// Another JSON type than expected.
        WrongType = "wrong_type",
        /// A word outside its list.
        NotInList = "not_in_list",
        /// Below the smallest accepted value.
        TooSmall = "too_small",
        /// Above the largest accepted value.
        TooLarge = "too_large",
        /// More than two decimals.
        TooManyDecimals = "too_many_decimals",
        /// A text that is too short.
        TooShort = "too_short",
        /// A text that is too long.
        TooLong = "too_long",
        /// A text of the wrong form.
        WrongForm = "wrong_form",
        /// Too few items.
        TooFew = "too_few",
        /// Too many items, or items that repeat.
        TooMany = "too_many",
        /// The same thing said in two ways.
        SaidTwice = "said_twice",
        /// Against the schema in a way without a code of its own.
        AgainstSchema = "against_schema",
        /// The document names another study than its address.
        OtherStudy = "other_study",
        /// Consent was given to another wording than the current one.
        ConsentOutdated = "consent_outdated",
        /// The study is for adults, and the player does not say that they are one.
        AgeNotConfirmed = "age_not_confirmed",
        /// One of the two arms has no session.
        ArmMissing = "arm_missing",
        /// Sessions of one arm have different reference tensions.
        ArmTensionDiffers = "arm_tension_differs",
        /// The looser arm is not strung looser.
        LooserNotLooser = "looser_not_looser",
        /// A tension outside all bounds.
        TensionOutOfBounds = "tension_out_of_bounds",
        /// Two sessions have the same place in time.
        OrderRepeated = "order_repeated",
        /// One shot class has two lines in a session.
        ClassRepeated = "class_repeated",
        /// No shot class has shots hit and mean speed in both arms.
        NothingToCompare = "nothing_to_compare",
        /// More shots in than hit.
        InMoreThanHit = "in_more_than_hit",
        /// More deep shots than shots in.
        DeepMoreThanIn = "deep_more_than_in",
        /// The fastest shot is slower than the mean.
        MaxBelowMean = "max_below_mean",
        /// More timed shots than there were.
        TimedMoreThanHit = "timed_more_than_hit",
        /// A speed outside all bounds for its stroke.
        SpeedOutOfBounds = "speed_out_of_bounds",
        /// A standard deviation that no series of shots has.
        SpreadOutOfBounds = "spread_out_of_bounds",
        /// Mean speeds of one class differ too much to be of one unit.
        SpeedsFarApart = "speeds_far_apart",
        /// Mean speeds are taken over different shots.
        SpeedOverDiffers = "speed_over_differs",
        /// The spin mix does not add up.
        SpinSum = "spin_sum",
        /// A count with a fraction.
        NotWhole = "not_whole",
        /// More rallies above length than rallies.
        AboveMoreThanPlayed = "above_more_than_played",
        /// A temperature outside all bounds.
        TemperatureOutOfBounds = "temperature_out_of_bounds",
        /// A mass difference although there is one frame.
        MassDifferenceOfOneFrame = "mass_difference_of_one_frame",
        /// A line of a file of shots says otherwise of its session than an earlier line.
        DiffersInSession = "differs_in_session",
        /// Lines of a file of shots are not in the order played.
        OutOfOrder = "out_of_order",
        /// Gap band edges do not rise.
        EdgesNotRising = "edges_not_rising",
        /// What was settled before and cannot be changed any more.
        SettledBefore = "settled_before",
        /// Passed the checks and still could not be read: a defect of the service.
        Unreadable = "unreadable",
    }
}

word_list! {
    /// Stable codes of flags. A flag is a reason to look again; it refuses nothing.
    FlagCode {
        /// A tension outside the usual range.
        TensionUnusual = "tension_unusual",
        /// A speed outside the usual range for its stroke; perhaps the unit is wrong.
        SpeedUnitSuspect = "speed_unit_suspect",
        /// A spread that is unusual for its mean.
        SpreadUnusual = "spread_unusual",
        /// No whole count gives this percentage (GRIM, Brown & Heathers 2017).
        PercentImpossible = "percent_impossible",
        /// The number of timed shots is not given, so it was taken from the shots hit or in.
        TimedCountAssumed = "timed_count_assumed",
        /// The gap is smaller than the protocol asks.
        GapUnderProtocol = "gap_under_protocol",
        /// The plan code is not known here, so it counts as retrospective.
        PlanNotFound = "plan_not_found",
        /// The plan was not opened before, so its order cannot have been followed.
        PlanNotOpened = "plan_not_opened",
        /// An earlier contribution used the plan.
        PlanUsed = "plan_used",
        /// A correction names another plan than what was sent first.
        PlanNamedLater = "plan_named_later",
    }
}

/// One thing to mend.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Fault {
    /// JSON Pointer (RFC 6901) to the place.
    pub pointer: String,
    /// Stable code.
    pub code: FaultCode,
    /// How to mend it.
    pub sentence: String,
}

impl Fault {
    /// A fault at a place.
    #[must_use]
    pub const fn new(pointer: String, code: FaultCode, sentence: String) -> Self {
        Self {
            pointer,
            code,
            sentence,
        }
    }
}

/// One reason to look again.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Flag {
    /// JSON Pointer (RFC 6901) to the place.
    pub pointer: String,
    /// Stable code.
    pub code: FlagCode,
    /// What was noticed.
    pub sentence: String,
}

/// Whether a document could be read at all.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RejectionKind {
    /// Not strict JSON.
    Malformed,
    /// JSON, but against the schema or the rules.
    Invalid,
}

/// A refused document with every fault found.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{n_faults} fault(s), the first: {}", faults.first().map_or("none", |fault| fault.sentence.as_str()))]
pub struct Rejection {
    /// Whether it could be read at all.
    pub kind: RejectionKind,
    /// The faults in order of place, at most [`Rejection::MOST`]; never empty.
    pub faults: Vec<Fault>,
    /// How many faults there are.
    pub n_faults: usize,
}

impl Rejection {
    /// Most faults that are listed. A full contribution in which every line has three is below it.
    pub const MOST: usize = 500;

    /// A refusal for these faults.
    #[must_use]
    pub fn new(kind: RejectionKind, mut faults: Vec<Fault>) -> Self {
        let n_faults = faults.len();
        faults.truncate(Self::MOST);
        Self {
            kind,
            faults,
            n_faults,
        }
    }

    /// A document that is not strict JSON.
    #[must_use]
    pub fn malformed(pointer: String, code: FaultCode, sentence: String) -> Self {
        Self::new(
            RejectionKind::Malformed,
            vec![Fault::new(pointer, code, sentence)],
        )
    }
}
