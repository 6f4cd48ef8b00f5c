//! The next attribute to ask for, and its values: model year, make, model, then what really differs.

use std::collections::{BTreeMap, BTreeSet};

use dashwright_model::question::VehicleQuestion;
use dashwright_model::record::vehicle::{Attribute, BuildWindow, DriveSide};
use dashwright_quantity::{Label, ModelYear, Prose, YearMonth};

use super::filter::Standing;
use super::query::{Query, Reach};
use super::{Answer, Answers, Built, Choice, Choices, IdentifyError, candidate, explain, reading};
use crate::Snapshot;
use crate::line::{MakeIx, ModelIx};
use crate::words::normal;

/// What is asked of a line once its model is known, in this order: what a person at the counter knows best comes first.
const OF_LINES: [Attribute; 6] = [
    Attribute::Trim,
    Attribute::Body,
    Attribute::Drivetrain,
    Attribute::DriveSide,
    Attribute::Market,
    Attribute::BuildMonth,
];

impl Snapshot {
    /// The next attribute to ask for, and its values, after what a question already says.
    ///
    /// # Errors
    /// As [`Snapshot::identify`], but a question that says nothing asks for the model year.
    pub fn choices(&self, question: &VehicleQuestion) -> Result<Choices, IdentifyError> {
        let query = if question.is_empty() { Query::new(self) } else { reading::read(self, question)? };
        if let Some(next) = by_year_alone(&query) {
            return Ok(next.into_choices(query));
        }
        let standings: Vec<Standing> = query.standing().collect();
        if standings.is_empty() && !question.is_empty() {
            return Err(explain::why_none(&query));
        }
        Ok(by_line(&query, question, &standings).into_choices(query))
    }
}

/// The next attribute, before what the query has to say is put beside it.
struct Next {
    attribute: Option<Attribute>,
    choices: Vec<Choice>,
    remaining: usize,
}

impl Next {
    fn into_choices(self, query: Query<'_>) -> Choices {
        let Self { attribute, choices, remaining } = self;
        let Query { matched, unmatched, concerns, .. } = query;
        Choices { attribute, choices, remaining, matched, unmatched, concerns }
    }
}

/// Years, makes and models by the counts that were worked out when the snapshot was built; none where one model is left,
/// or where more than the year is said.
fn by_year_alone(query: &Query<'_>) -> Option<Next> {
    if !query.is_by_year_alone() {
        return None;
    }
    let index = &query.snapshot.index;
    let ranges = query.model_ranges();
    let Some(year) = query.year() else {
        let years = query.years_in_reach();
        let years: BTreeMap<Answer, usize> =
            years.iter().map(|year| (Answer::ModelYear(year), query.lines_in_year(year))).collect();
        let remaining = ranges.iter().map(|(models, _)| query.lines_of(models).len()).sum();
        let wanted = years.len() > 1 || query.reach == Reach::All;
        return wanted.then(|| next(Attribute::ModelYear, remaining, years));
    };
    if let (Reach::All, Some(entry)) =
        (&query.reach, index.years.get(&year).filter(|year| year.makes.len() > 1))
    {
        return Some(makes(query, entry.lines, entry.makes.iter().copied()));
    }
    let models: Vec<(ModelIx, usize)> =
        ranges.iter().flat_map(|(models, _)| index.models_in_year(year, models)).copied().collect();
    name_of_models(query, &models)
}

fn by_line(query: &Query<'_>, question: &VehicleQuestion, standings: &[Standing]) -> Next {
    let remaining = standings.len();
    if let Some(next) = by_years(query, standings).or_else(|| by_names(query, standings)) {
        return next;
    }
    for attribute in OF_LINES.into_iter().filter(|attribute| !query.settles(*attribute)) {
        let choices = of_lines(query, question, standings, attribute);
        if choices.iter().any(|choice| choice.lines < remaining) {
            return Next { attribute: Some(attribute), choices, remaining };
        }
    }
    let choices = options(query, standings);
    if choices.len() > 1 {
        Next { attribute: Some(Attribute::AudioOption), choices, remaining }
    } else {
        Next { attribute: None, choices: Vec::new(), remaining }
    }
}

/// The years, where lines differ in them.
fn by_years(query: &Query<'_>, standings: &[Standing]) -> Option<Next> {
    let first = standings.first()?.years;
    if query.settles(Attribute::ModelYear) || standings.iter().all(|left| left.years == first) {
        return None;
    }
    let mut counted: BTreeMap<ModelYear, usize> = BTreeMap::new();
    for year in standings.iter().flat_map(|left| left.years.iter()) {
        *counted.entry(year).or_default() += 1;
    }
    let counted = counted.into_iter().map(|(year, lines)| (Answer::ModelYear(year), lines));
    Some(next(Attribute::ModelYear, standings.len(), counted.collect()))
}

/// The makes, or the models, where there are several.
fn by_names(query: &Query<'_>, standings: &[Standing]) -> Option<Next> {
    let mut models: BTreeMap<ModelIx, usize> = BTreeMap::new();
    for line in standings.iter().filter_map(|left| query.snapshot.line(left.line)) {
        *models.entry(line.model).or_default() += 1;
    }
    name_of_models(query, &models.into_iter().collect::<Vec<_>>())
}

/// The makes of some models, each with its number of lines, or the models themselves where the make is one.
fn name_of_models(query: &Query<'_>, models: &[(ModelIx, usize)]) -> Option<Next> {
    let remaining = models.iter().map(|(_, lines)| lines).sum();
    let mut makes: BTreeMap<MakeIx, usize> = BTreeMap::new();
    for (model, lines) in models {
        if let Some(model) = query.snapshot.models.get(model.get()) {
            *makes.entry(model.make).or_default() += lines;
        }
    }
    if makes.len() > 1 {
        return Some(self::makes(query, remaining, makes.into_iter()));
    }
    let named = models.iter().filter_map(|(model, lines)| Some((model_answer(query, *model)?, *lines)));
    (models.len() > 1).then(|| next(Attribute::Model, remaining, named.collect()))
}

fn makes(query: &Query<'_>, remaining: usize, makes: impl Iterator<Item = (MakeIx, usize)>) -> Next {
    let named = makes.filter_map(|(make, lines)| Some((make_answer(query, make)?, lines)));
    next(Attribute::Make, remaining, named.collect())
}

/// The values of an attribute of lines, each with the lines that the question leaves when it is put in.
fn of_lines(
    query: &Query<'_>,
    question: &VehicleQuestion,
    standings: &[Standing],
    attribute: Attribute,
) -> Vec<Choice> {
    let all: BTreeSet<Answers> = standings.iter().map(|left| answers(query, left, attribute)).collect();
    if all.len() < 2 {
        return Vec::new();
    }
    let every = all.contains(&Answers::Every);
    let named: BTreeSet<Answer> = all.into_iter().flat_map(listed).collect();
    let values = match attribute {
        Attribute::BuildMonth => months(&named),
        Attribute::DriveSide if every => DriveSide::ALL.iter().copied().map(Answer::DriveSide).collect(),
        Attribute::DriveSide => named.into_iter().collect(),
        _ => {
            let other = every.then_some(Answer::Another(attribute));
            distinct(named.into_iter().chain(other).collect())
        }
    };
    let choices = values.into_iter().filter_map(|answer| {
        let mut with = question.clone();
        put(&mut with, attribute, &answer.value());
        let left = query.snapshot.identify(&with).ok()?;
        let told = left.candidates.iter().filter_map(|left| query.snapshot.line(left.line));
        let mut told = told.filter_map(|line| line.facts.how_to_tell.get(&attribute));
        let how_to_tell = told.next().cloned();
        let title = answer.to_string();
        Some(Choice { value: answer.value(), answer, title, how_to_tell, lines: left.total })
    });
    choices.collect()
}

/// The audio options still possible. A code that stands for several titles is no answer: then the title is.
fn options(query: &Query<'_>, standings: &[Standing]) -> Vec<Choice> {
    let mut found: BTreeMap<Answer, (Prose, usize)> = BTreeMap::new();
    let mut titles: BTreeMap<Label, BTreeSet<Label>> = BTreeMap::new();
    for standing in standings {
        let Some(line) = query.snapshot.line(standing.line) else { continue };
        let options = query.snapshot.options_of(line);
        for number in standing.option_numbers() {
            let Some(option) = options.get(usize::from(number)).map(|option| &option.option) else {
                continue;
            };
            let (code, title) = (option.code.clone(), option.title.clone());
            titles.entry(code.clone()).or_default().insert(title.clone());
            let answer = Answer::AudioOption { code, title };
            found.entry(answer).or_insert_with(|| (option.how_to_tell.clone(), 0)).1 += 1;
        }
    }
    let choices = found.into_iter().map(|(answer, (how, lines))| {
        let title = answer.to_string();
        let ambiguous = matches!(&answer, Answer::AudioOption { code, .. }
            if titles.get(code).is_some_and(|titles| titles.len() > 1));
        let value = if ambiguous { title.clone() } else { answer.value() };
        Choice { answer, value, title, how_to_tell: Some(how), lines }
    });
    choices.collect()
}

/// Puts a value into a question as a caller would.
fn put(question: &mut VehicleQuestion, attribute: Attribute, value: &str) {
    let label = Label::new(value).ok();
    match attribute {
        Attribute::ModelYear => {
            question.model_year = value.parse().ok().and_then(|year| ModelYear::new(year).ok())
        }
        Attribute::Make => question.make = label,
        Attribute::Model => question.model = label,
        Attribute::Trim => question.trim = label,
        Attribute::BuildMonth => question.build_month = value.parse().ok(),
        Attribute::Market => question.market = label,
        Attribute::DriveSide => question.drive_side = value.parse().ok(),
        Attribute::Body => question.body = label,
        Attribute::Drivetrain => question.drivetrain = label,
        Attribute::AudioOption => question.audio_option = label,
    }
}

impl Choice {
    /// Puts the choice into a question.
    pub fn put_into(&self, question: &mut VehicleQuestion) {
        put(question, self.answer.attribute(), &self.value);
    }
}

/// The windows between all beginnings and ends of windows: within each of them it does not matter which month it is.
fn months(windows: &BTreeSet<Answer>) -> Vec<Answer> {
    let mut starts: BTreeSet<YearMonth> = BTreeSet::new();
    for answer in windows {
        if let Answer::Built(Built(BuildWindow { from, to })) = answer {
            starts.extend(from);
            starts.extend(to.and_then(|to| shifted(to, 1)));
        }
    }
    let starts: Vec<Option<YearMonth>> = std::iter::once(None).chain(starts.into_iter().map(Some)).collect();
    let ends = starts.iter().skip(1).copied().chain([None]);
    let window = |(from, next): (&Option<YearMonth>, Option<YearMonth>)| {
        let to = next.and_then(|next| shifted(next, -1));
        Answer::Built(Built(BuildWindow { from: *from, to }))
    };
    starts.iter().zip(ends).map(window).collect()
}

/// The month so many later; none beyond the months that there are.
fn shifted(month: YearMonth, by: i32) -> Option<YearMonth> {
    let count = i32::from(month.year()) * 12 + i32::from(month.month()) - 1 + by;
    format!("{:04}-{:02}", count / 12, count % 12 + 1).parse().ok()
}

/// Answers that are written differently but read alike are one; in the order in which they are read.
fn distinct(answers: Vec<Answer>) -> Vec<Answer> {
    let mut by_word: BTreeMap<(bool, String), Answer> = BTreeMap::new();
    for answer in answers {
        let key = (matches!(answer, Answer::Another(_)), normal(&answer.to_string()));
        by_word.entry(key).or_insert(answer);
    }
    by_word.into_values().collect()
}

/// Counted values as choices: years from the last to the first, names in the order in which they are read.
fn next(attribute: Attribute, remaining: usize, counted: BTreeMap<Answer, usize>) -> Next {
    // Two models of one name are one choice: the make tells them apart.
    let mut merged: BTreeMap<String, (Answer, usize)> = BTreeMap::new();
    for (answer, lines) in counted {
        merged.entry(normal(&answer.to_string())).or_insert((answer, 0)).1 += lines;
    }
    let mut choices: Vec<Choice> = merged
        .into_values()
        .map(|(answer, lines)| {
            let (value, title) = (answer.value(), answer.to_string());
            Choice { answer, value, title, how_to_tell: None, lines }
        })
        .collect();
    if attribute == Attribute::ModelYear {
        choices.reverse();
    }
    Next { attribute: Some(attribute), choices, remaining }
}

fn answers(query: &Query<'_>, standing: &Standing, attribute: Attribute) -> Answers {
    query.snapshot.attribute_values(&candidate(standing), attribute)
}

fn listed(answers: Answers) -> Vec<Answer> {
    match answers {
        Answers::Every => Vec::new(),
        Answers::These(answers) => answers,
    }
}

fn make_answer(query: &Query<'_>, make: MakeIx) -> Option<Answer> {
    query.snapshot.makes.get(make.get()).map(|found| Answer::Make(make, found.name.clone()))
}

fn model_answer(query: &Query<'_>, model: ModelIx) -> Option<Answer> {
    query.snapshot.models.get(model.get()).map(|found| Answer::Model(model, found.name.clone()))
}
