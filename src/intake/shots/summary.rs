//! Shots summed up by session and shot class, as the sessions of a contribution.

use super::cells::{Fact, Landed, Session, Shot};
use super::columns::Column;
use super::moments::{FEWEST_FOR_LAG1, moments};
use crate::findings::labels::class_label;
use crate::numbers::counted;
use crate::protocol::Study;
use crate::units::Hundredths;
use crate::vocabulary::{Direction, SdDivisor, ShotClass, SpeedOver, Stroke};
use serde_json::{Map, Number, Value, json};
use std::collections::{BTreeMap, BTreeSet};

/// What of a class in a session is left out, because too few shots make it implausible.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum LeftOut {
    /// The whole speed.
    Speed,
    /// The standard deviation.
    Spread,
}

/// Which class of which session, by its place.
pub(super) type Place = (usize, ShotClass);

/// Sessions summed up.
#[derive(Debug)]
pub(super) struct Summary {
    /// The sessions of a contribution.
    pub(super) sessions: Value,
    /// The classes of every session, in the order of their lines.
    pub(super) classes: Vec<Vec<Line>>,
    pub(super) remarks: Vec<String>,
}

/// One line of a session.
#[derive(Clone, Copy, Debug)]
pub(super) struct Line {
    pub(super) class: ShotClass,
    /// Where the first of its shots stands.
    pub(super) first_line: u64,
    pub(super) n_timed: usize,
}

/// The shots of one class in one session, in the order played.
struct ClassShots<'a> {
    class: ShotClass,
    shots: Vec<&'a Shot>,
}

impl ClassShots<'_> {
    fn n_timed(&self) -> usize {
        self.shots
            .iter()
            .filter(|shot| shot.speed.is_some())
            .count()
    }

    fn n_unseen(&self) -> usize {
        self.shots
            .iter()
            .filter(|shot| shot.landed.is_none())
            .count()
    }

    /// Whether exactly the shots in were timed, as far as all were seen.
    fn timed_are_those_in(&self) -> bool {
        self.shots.iter().all(|shot| match shot.landed {
            Some(Landed::Out) => shot.speed.is_none(),
            Some(Landed::In | Landed::Deep) => shot.speed.is_some(),
            None => false,
        })
    }
}

/// Sums every session up.
pub(super) fn summary(
    sessions: &BTreeMap<i64, Session>,
    study: &Study,
    left_out: &BTreeSet<(Place, LeftOut)>,
) -> Summary {
    let wanted = classes(sessions, study);
    let mut remarks = Vec::new();
    let by_session: Vec<(i64, &Session, Vec<ClassShots<'_>>)> = sessions
        .iter()
        .map(|(number, session)| {
            let classes = of_session(*number, session, &wanted, &mut remarks);
            (*number, session, classes)
        })
        .collect();
    let over = |class| speed_over(by_session.iter().flat_map(|(_, _, classes)| classes), class);
    let mut documents = Vec::new();
    let mut lines = Vec::new();
    for (place, (number, session, classes)) in by_session.iter().enumerate() {
        let mut shots = Vec::new();
        for of_class in classes {
            let is_left_out = |what| left_out.contains(&((place, of_class.class), what));
            let label = format!("Session {number}, {}", class_label(of_class.class));
            shots.push(shot_line(
                of_class,
                session,
                over(of_class.class),
                &is_left_out,
            ));
            remarks.extend(said(of_class, &label, &is_left_out));
        }
        lines.push(classes.iter().map(line).collect());
        documents.push(session_document(*number, session, shots));
    }
    Summary {
        sessions: Value::Array(documents),
        classes: lines,
        remarks,
    }
}

fn line(of_class: &ClassShots<'_>) -> Line {
    Line {
        class: of_class.class,
        first_line: of_class.shots.first().map_or(0, |shot| shot.line),
        n_timed: of_class.n_timed(),
    }
}

/// The classes to sum up: every stroke; its directions when more than one occurs; and of all strokes
/// together what the protocol asks for.
fn classes(sessions: &BTreeMap<i64, Session>, study: &Study) -> BTreeSet<ShotClass> {
    let mut directions: BTreeMap<Stroke, BTreeSet<Direction>> = BTreeMap::new();
    for shot in sessions.values().flat_map(|session| &session.shots) {
        directions
            .entry(shot.stroke)
            .or_default()
            .extend(shot.direction);
    }
    let mut classes = BTreeSet::new();
    for (stroke, directions) in directions {
        classes.insert(ShotClass::of(stroke));
        if 1 < directions.len() {
            let apart = directions
                .into_iter()
                .map(|direction| ShotClass { stroke, direction });
            classes.extend(apart);
        }
    }
    let declared = study.protocol.analysis.primary.iter();
    let declared = declared.map(|primary| primary.class);
    classes.extend(declared.filter(|class| class.stroke == Stroke::All));
    classes
}

/// The classes of one session that have shots. Directions are left out where some shot of the stroke
/// has none, since a direction's share of the stroke would come out too small.
fn of_session<'a>(
    number: i64,
    session: &'a Session,
    wanted: &BTreeSet<ShotClass>,
    remarks: &mut Vec<String>,
) -> Vec<ClassShots<'a>> {
    let of_stroke = |stroke: Stroke| {
        let shots = session.shots.iter();
        shots.filter(move |shot| stroke == Stroke::All || shot.stroke == stroke)
    };
    let mut told = BTreeSet::new();
    let mut classes = Vec::new();
    for class in wanted {
        let without = of_stroke(class.stroke)
            .filter(|shot| shot.direction.is_none())
            .count();
        if class.direction != Direction::All && 0 < without {
            let all = of_stroke(class.stroke).count();
            if without < all && told.insert(class.stroke) {
                remarks.push(format!(
                    "Session {number}, {}: {without} of {} have no direction, so directions are left out.",
                    class_label(ShotClass::of(class.stroke)),
                    shots_words(all)
                ));
            }
            continue;
        }
        let shots: Vec<&Shot> = of_stroke(class.stroke)
            .filter(|shot| {
                class.direction == Direction::All || shot.direction == Some(class.direction)
            })
            .collect();
        if !shots.is_empty() {
            classes.push(ClassShots {
                class: *class,
                shots,
            });
        }
    }
    classes
}

/// Which shots of a class were timed, in all sessions alike: means over different shots cannot be
/// compared, and one shot that the device missed must not make two sessions differ.
fn speed_over<'a>(
    sessions: impl Iterator<Item = &'a ClassShots<'a>> + Clone,
    class: ShotClass,
) -> SpeedOver {
    let timed = |is_so: &dyn Fn(&ClassShots<'_>) -> bool| {
        let mut timed = sessions
            .clone()
            .filter(|of| of.class == class && 0 < of.n_timed());
        timed.all(is_so)
    };
    if timed(&|of| of.n_timed() == of.shots.len()) {
        SpeedOver::All
    } else if timed(&|of| of.timed_are_those_in()) {
        SpeedOver::In
    } else {
        SpeedOver::Unknown
    }
}

fn shot_line(
    of_class: &ClassShots<'_>,
    session: &Session,
    over: SpeedOver,
    is_left_out: &dyn Fn(LeftOut) -> bool,
) -> Value {
    let mut line = Map::new();
    let mut put = |name: &str, value: Value| line.insert(name.to_owned(), value);
    put("stroke", json!(of_class.class.stroke.code()));
    put("direction", json!(of_class.class.direction.code()));
    put("hit", json!(of_class.shots.len()));
    if of_class.n_unseen() == 0 {
        let landed = |is_so: &dyn Fn(Landed) -> bool| {
            let shots = of_class.shots.iter();
            json!(shots.filter(|shot| shot.landed.is_some_and(is_so)).count())
        };
        put("in", landed(&|landed| landed != Landed::Out));
        put("deep", landed(&|landed| landed == Landed::Deep));
    }
    let speeds: Vec<i64> = of_class
        .shots
        .iter()
        .filter_map(|shot| shot.speed)
        .map(Hundredths::count)
        .collect();
    let unit = match session.fact(Column::SpeedUnit) {
        Some((Fact::SpeedUnit(unit), _)) => Some(unit),
        _ => None,
    };
    if let (Some(moments), Some(unit), false) =
        (moments(&speeds), unit, is_left_out(LeftOut::Speed))
    {
        put("speed_mean", decimal(moments.mean));
        put("speed_unit", json!(unit.code()));
        if let Some(sd) = moments.sd.filter(|_| !is_left_out(LeftOut::Spread)) {
            put("speed_sd", decimal(sd));
            put("sd_divisor", json!(SdDivisor::NMinusOne.code()));
            if let Some(lag1) = moments.lag1 {
                put("speed_lag1", decimal(lag1));
            }
        }
        put("speed_max", decimal(moments.largest));
        put("speed_n", json!(moments.n));
        put("speed_over", json!(over.code()));
    }
    Value::Object(line)
}

/// What was left out of a line, in words.
fn said(
    of_class: &ClassShots<'_>,
    label: &str,
    is_left_out: &dyn Fn(LeftOut) -> bool,
) -> Vec<String> {
    let mut said = Vec::new();
    let (hit, timed, unseen) = (
        of_class.shots.len(),
        of_class.n_timed(),
        of_class.n_unseen(),
    );
    // Of a direction it is said with its stroke.
    if 0 < unseen && of_class.class.direction == Direction::All {
        said.push(format!(
            "{label}: {unseen} of {} have no landing, so shots in and deep are left out.",
            shots_words(hit)
        ));
    }
    if is_left_out(LeftOut::Speed) {
        said.push(format!(
            "{label}: with {} timed the speed is not plausible, so it is left out.",
            shots_words(timed)
        ));
    } else if is_left_out(LeftOut::Spread) {
        said.push(format!(
            "{label}: with {} timed the standard deviation is not plausible, so it is left out.",
            shots_words(timed)
        ));
    }
    let says_nothing_of_correlation = (2..FEWEST_FOR_LAG1).contains(&timed);
    if says_nothing_of_correlation && of_class.class.direction == Direction::All {
        said.push(format!(
            "{label}: {} timed are too few to tell how alike one shot and the next are; {FEWEST_FOR_LAG1} would do.",
            shots_words(timed)
        ));
    }
    said
}

fn shots_words(n: usize) -> String {
    counted(u64::try_from(n).unwrap_or(u64::MAX), "shot", "shots")
}

fn session_document(number: i64, session: &Session, shots: Vec<Value>) -> Value {
    let mut document = Map::new();
    let mut put = |name: &str, value: Value| document.insert(name.to_owned(), value);
    if let Some((Fact::Arm(arm), _)) = session.fact(Column::StringBed) {
        put("arm", json!(arm.code()));
    }
    let mut tension = Map::new();
    if let Some(mains) = session.number(Column::Tension) {
        tension.insert("mains".to_owned(), decimal(mains.count()));
    }
    if let Some(crosses) = session.number(Column::CrossesTension) {
        tension.insert("crosses".to_owned(), decimal(crosses.count()));
    }
    if let Some((Fact::TensionUnit(unit), _)) = session.fact(Column::TensionUnit) {
        tension.insert("unit".to_owned(), json!(unit.code()));
    }
    put("tension", Value::Object(tension));
    put("order", json!(number));
    if let Some(minutes) = session.number(Column::Minutes) {
        put("minutes", decimal(minutes.count()));
    }
    if let (Some(partner), Some((Fact::SpeedUnit(unit), _))) = (
        session.number(Column::PartnerSpeed),
        session.fact(Column::SpeedUnit),
    ) {
        put(
            "partner",
            json!({"speed_mean": decimal(partner.count()), "speed_unit": unit.code()}),
        );
    }
    put("shots", Value::Array(shots));
    Value::Object(document)
}

/// Hundredths as a JSON number, whole ones without a point.
fn decimal(hundredths: i64) -> Value {
    if hundredths % 100 == 0 {
        return json!(hundredths / 100);
    }
    let number = Number::from_f64(Hundredths::from_count(hundredths).to_f64());
    number.map_or(Value::Null, Value::Number)
}

/// Whether so many timed shots are few enough for chance to make their figures implausible.
pub(super) const fn is_small(n_timed: usize) -> bool {
    n_timed < FEWEST_FOR_LAG1
}
