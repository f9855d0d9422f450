//! The one table of fields, in the order of the form.

use super::fields::Repeat::{self, Class, ClassChoice, Once, Session};
use super::fields::{Field, Kind, Shown, Unit};
use super::steps::Step;
use super::words;
use Kind::{Choice, Decimal, Text, Tick, Whole};

const CROSSES: &str = "The crosses were strung at another tension";
const STATED: &str = "More about the device";
const MORE_SPEED: &str = "More that the device told";
const MORE: &str = "Spin, rallies and more";
const PLAYER: &str = "You";
const STRINGS: &str = "Frame and strings";
const COURT: &str = "Court, ball and weather";
const NOTE: &str = "A note to the host";

const SETUP: Repeat = Once(Step::Setup);
const DEVICE: Repeat = Once(Step::Device);
const SEND: Repeat = Once(Step::Send);

/// A field of the step in which all is optional.
const fn about(stem: &'static str, kind: Kind, place: &'static str, label: &'static str) -> Field {
    Field::new(Once(Step::About), stem, kind, place, label)
}

/// Every field of the form.
pub const FIELDS: &[Field] = &[
    // How it was played.
    Field::new(
        SETUP,
        "order",
        Choice(words::ORDER),
        "",
        "In which order did you play?",
    )
    .shown(Shown::Radios),
    Field::new(
        SETUP,
        "tension_unit",
        Choice(words::TENSION_UNIT),
        "",
        "Unit of tension",
    )
    .shown(Shown::Radios),
    Field::new(SETUP, "looser_mains", Decimal, "", "Looser").unit(Unit::Tension),
    Field::new(SETUP, "tighter_mains", Decimal, "", "Tighter").unit(Unit::Tension),
    Field::new(SETUP, "looser_crosses", Decimal, "", "Looser, crosses")
        .unit(Unit::Tension)
        .under(CROSSES),
    Field::new(SETUP, "tighter_crosses", Decimal, "", "Tighter, crosses")
        .unit(Unit::Tension)
        .under(CROSSES),
    Field::new(
        SETUP,
        "frames",
        Choice(words::FRAMES),
        "setup/frame/frames",
        "One frame or two?",
    )
    .shown(Shown::Radios),
    Field::new(SETUP, "plan_code", Text, "plan_code", "Plan code")
        .hint("Only if you drew an order here before playing: 12 letters and digits."),
    // What measured.
    Field::new(
        DEVICE,
        "device",
        Choice(words::DEVICE),
        "device/class",
        "What measured the ball?",
    ),
    Field::new(
        DEVICE,
        "speed_unit",
        Choice(words::SPEED_UNIT),
        "",
        "Unit of speed",
    )
    .shown(Shown::Radios),
    Field::new(
        DEVICE,
        "speed_over",
        Choice(words::SPEED_OVER),
        "",
        "Its mean speed is over",
    )
    .shown(Shown::Radios),
    Field::new(
        DEVICE,
        "shares_as",
        Choice(words::SHARES_AS),
        "",
        "Shots in and deep come as",
    )
    .hint("If you have speeds only, choose counts and leave them blank.")
    .shown(Shown::Radios),
    Field::new(
        DEVICE,
        "deep_percent_of",
        Choice(words::DEEP_PERCENT_OF),
        "",
        "The deep percentage is",
    )
    .hint("Only if they come as percent.")
    .shown(Shown::Radios),
    Field::new(
        DEVICE,
        "measured_at",
        Choice(words::MEASURED_AT),
        "device/speed_measured_at",
        "Where along its way is the speed taken?",
    )
    .under(STATED),
    Field::new(
        DEVICE,
        "sd_divisor",
        Choice(words::SD_DIVISOR),
        "",
        "How does it divide for a standard deviation?",
    )
    .under(STATED),
    Field::new(ClassChoice, "stroke", Choice(words::STROKE), "", "Stroke"),
    Field::new(
        ClassChoice,
        "direction",
        Choice(words::DIRECTION),
        "",
        "Direction",
    ),
    // One session.
    Field::new(Session, "minutes", Decimal, "minutes", "Minutes played").same_again(),
    Field::new(
        Session,
        "warm_up",
        Decimal,
        "warm_up_minutes",
        "Warm-up minutes",
    )
    .same_again(),
    Field::new(
        Session,
        "knew",
        Choice(words::KNEW),
        "knew_tension",
        "Did you know which string bed it was?",
    )
    .shown(Shown::Radios)
    .same_again(),
    Field::new(
        Session,
        "partner_speed",
        Decimal,
        "partner/speed_mean",
        "Your partner’s mean speed",
    )
    .unit(Unit::Speed)
    .hint("If the device tells."),
    Field::new(Class, "hit", Whole, "hit", "Hit"),
    Field::new(Class, "in", Decimal, "in", "In").unit(Unit::Share),
    Field::new(Class, "deep", Decimal, "deep", "Deep").unit(Unit::Share),
    Field::new(Class, "mean", Decimal, "speed_mean", "Mean speed").unit(Unit::Speed),
    Field::new(Class, "sd", Decimal, "speed_sd", "Standard deviation")
        .unit(Unit::Speed)
        .under(MORE_SPEED),
    Field::new(Class, "max", Decimal, "speed_max", "Fastest shot")
        .unit(Unit::Speed)
        .under(MORE_SPEED),
    Field::new(Class, "timed", Whole, "speed_n", "Shots timed").under(MORE_SPEED),
    Field::new(
        Session,
        "spin_as",
        Choice(words::SHARES_AS),
        "spin/given_as",
        "Spin comes as",
    )
    .shown(Shown::Radios)
    .under(MORE)
    .same_again(),
    Field::new(Session, "topspin", Decimal, "spin/topspin", "Topspin").under(MORE),
    Field::new(Session, "flat", Decimal, "spin/flat", "Flat").under(MORE),
    Field::new(Session, "slice", Decimal, "spin/slice", "Slice").under(MORE),
    Field::new(Session, "rallies", Whole, "rallies/played", "Rallies").under(MORE),
    Field::new(
        Session,
        "long_rallies",
        Whole,
        "rallies/above_length",
        "Long ones",
    )
    .under(MORE),
    Field::new(
        Session,
        "partner_sd",
        Decimal,
        "partner/speed_sd",
        "Partner’s standard deviation",
    )
    .unit(Unit::Speed)
    .under(MORE),
    Field::new(
        Session,
        "partner_timed",
        Whole,
        "partner/speed_n",
        "Partner’s shots timed",
    )
    .under(MORE),
    Field::new(
        Session,
        "measured_tension",
        Decimal,
        "measured_tension/value",
        "String bed, by a tension meter",
    )
    .unit(Unit::Tension)
    .under(MORE),
    // All of this is optional.
    about(
        "itn",
        Choice(words::ITN),
        "player/itn",
        "Level, International Tennis Number",
    )
    .under(PLAYER),
    about(
        "hand",
        Choice(words::HAND),
        "player/handedness",
        "Hand that holds the racquet",
    )
    .under(PLAYER),
    about(
        "backhand",
        Choice(words::BACKHAND),
        "player/backhand",
        "Backhand with",
    )
    .under(PLAYER),
    about(
        "mains_family",
        Choice(words::STRING_FAMILY),
        "setup/mains_family",
        "Material of the mains",
    )
    .under(STRINGS),
    about(
        "crosses_family",
        Choice(words::STRING_FAMILY),
        "setup/crosses_family",
        "Material of the crosses",
    )
    .under(STRINGS),
    about(
        "mains_gauge",
        Decimal,
        "setup/mains_gauge_mm",
        "Gauge of the mains",
    )
    .unit(Unit::Fixed("mm"))
    .under(STRINGS),
    about(
        "crosses_gauge",
        Decimal,
        "setup/crosses_gauge_mm",
        "Gauge of the crosses",
    )
    .unit(Unit::Fixed("mm"))
    .under(STRINGS),
    about(
        "looser_hours",
        Decimal,
        "setup/looser_bed/hours_played",
        "Looser bed, hours played before",
    )
    .under(STRINGS),
    about(
        "tighter_hours",
        Decimal,
        "setup/tighter_bed/hours_played",
        "Tighter bed, hours played before",
    )
    .under(STRINGS),
    about(
        "looser_days",
        Decimal,
        "setup/looser_bed/days_since_stringing",
        "Looser bed, days since stringing",
    )
    .under(STRINGS),
    about(
        "tighter_days",
        Decimal,
        "setup/tighter_bed/days_since_stringing",
        "Tighter bed, days since stringing",
    )
    .under(STRINGS),
    about("pattern", Text, "setup/pattern", "String pattern")
        .hint("Mains by crosses, such as 16x19.")
        .under(STRINGS),
    about("head_size", Decimal, "setup/frame/head_size", "Head size").under(STRINGS),
    about(
        "head_size_unit",
        Choice(words::HEAD_SIZE_UNIT),
        "setup/frame/head_size_unit",
        "Head size in",
    )
    .under(STRINGS),
    about(
        "mass_difference",
        Decimal,
        "setup/frame/mass_difference_g",
        "Two frames: difference in mass",
    )
    .unit(Unit::Fixed("g"))
    .under(STRINGS),
    about(
        "frame_label",
        Text,
        "setup/frame/label",
        "What you call the frame",
    )
    .hint("Such as “the black one”.")
    .under(STRINGS),
    about(
        "surface",
        Choice(words::SURFACE),
        "court/surface",
        "Surface",
    )
    .under(COURT),
    about("ball", Choice(words::BALL), "court/ball", "Ball").under(COURT),
    about(
        "place",
        Choice(words::PLACE),
        "court/place",
        "Indoors or outdoors",
    )
    .under(COURT),
    about("temperature", Decimal, "court/temperature", "Temperature").under(COURT),
    about(
        "temperature_unit",
        Choice(words::TEMPERATURE_UNIT),
        "court/temperature_unit",
        "Temperature in",
    )
    .under(COURT),
    about("note", Text, "note", "Note")
        .hint("The host reads it; it is never published. Please name nobody, yourself included.")
        .shown(Shown::Area)
        .under(NOTE),
    // Consent.
    Field::new(SEND, "consent_version", Text, "consent/text_version", "").shown(Shown::Hidden),
    Field::new(
        SEND,
        "consent_pooling",
        Tick,
        "",
        "Count my sessions in the pooled figures.",
    )
    .hint("Needed to send.")
    .shown(Shown::Apart),
    Field::new(
        SEND,
        "consent_rows",
        Tick,
        "",
        "Also show my sessions as anonymised rows.",
    )
    .hint("As you like.")
    .shown(Shown::Apart),
    Field::new(
        SEND,
        "adult",
        Tick,
        "consent/adult",
        "I am of age where I live.",
    )
    .hint("Needed to send.")
    .shown(Shown::Apart),
    Field::new(
        SEND,
        "reason",
        Choice(words::REASON),
        "",
        "Why do you correct it?",
    )
    .shown(Shown::Apart),
];
