//! `golden`: questions that are kept with the answers that are right.

use std::cell::Cell;

use dashwright_api::v1;
use dashwright_api::v1::bulk_edit_draft_request::Edit;
use dashwright_model::exchange::{parse_line, to_line};
use dashwright_model::record::golden::{PlanAim, PlanVerdict};
use dashwright_quantity::GoldenId;
use serde_json::{Map, Value, json};

use super::bulk;
use super::change::Change;
use super::connection::Connection;
use super::draft::print;
use super::pages::{Printed, each_page};
use crate::args::{
    Aim, AskedQuestion, DriveSide, Golden, GoldenAccept, GoldenAdd, GoldenList, GoldenRun, Vehicle,
};
use crate::failure::{Failure, KeepingFailure};
use crate::{out, text, wiring};

/// Adds, lists, asks or accepts, and prints what came of it.
pub(crate) fn golden(arguments: Golden) -> Result<(), Failure> {
    match arguments {
        Golden::Add(arguments) => wiring::block_on(add(*arguments)),
        Golden::List(arguments) => wiring::block_on(list(arguments)),
        Golden::Run(arguments) => wiring::block_on(run(arguments)),
        Golden::Accept(arguments) => wiring::block_on(accept(arguments)),
    }
}

/// Has the draft answer the question, and tells the answer with the others.
async fn add(arguments: GoldenAdd) -> Result<(), Failure> {
    let GoldenAdd { draft: draft_id, id, question, changing, client } = arguments;
    let json = record(&id, question)?;
    let change = Change::of(changing);
    let connection = Connection::open(&client).await?;
    let put = v1::BulkEditDraftRequest {
        change: change.message(),
        draft_id: draft_id.clone(),
        edit: Some(Edit::Ask(v1::AskGolden { json })),
        validate_only: false,
    };
    change.outcome(connection.answer(connection.curation().bulk_edit_draft(put).await))?;
    let mut ask = v1::ListDraftGoldenAnswersRequest { draft_id, page_size: MOST, ..Default::default() };
    loop {
        let request = connection.curation().list_draft_golden_answers(ask.clone()).await;
        let mut answer = connection.answer(request)?;
        answer.answers.retain(|it| it.golden_id == id.as_str());
        if !answer.answers.is_empty() || answer.next_page_token.is_empty() {
            return print("ListDraftGoldenAnswersResponse", &answer, client.json, text::golden_added);
        }
        ask.page_token = answer.next_page_token;
    }
}

/// As many answers as a page holds.
const MOST: u32 = 1_000;

/// The question as a record; the service puts the answer in the place of what it expects.
fn record(id: &GoldenId, question: AskedQuestion) -> Result<String, Failure> {
    let AskedQuestion { title, radio, grade, source, date, vehicle, aim, wish, only_named_wishes, consent } =
        question;
    let wishes = wish.iter().map(|(need, weight)| json!({ "need": name(*need), "weight": weight }));
    let aim = match aim {
        Aim::LowestPrice => PlanAim::LowestPrice,
        Aim::FewestParts => PlanAim::FewestParts,
        Aim::LeastBenchTime => PlanAim::LeastBenchTime,
    };
    let question = json!({ "golden_question": {
        "id": id,
        "title": title,
        "vehicle": asked(vehicle)?,
        "radio": radio,
        "order": {
            "aim": aim,
            "only_named_wishes": only_named_wishes,
            "wishes": wishes.collect::<Vec<_>>(),
            "consents": consent.iter().map(|need| name(*need)).collect::<Vec<_>>(),
        },
        "expected": { "verdict": PlanVerdict::Unknown },
        "evidence": { "grade": grade, "source": source, "date": date },
    } });
    let record = parse_line(question.to_string().as_bytes(), 1).map_err(KeepingFailure::Question)?;
    to_line(&record).map_err(|error| Failure::Answer(error.into()))
}

/// What is said of the vehicle.
fn asked(vehicle: Vehicle) -> Result<Value, Failure> {
    let drive_side = vehicle.drive_side;
    let Vehicle {
        year,
        make,
        model,
        trim,
        build_month,
        market,
        drive_side: _,
        body,
        drivetrain,
        audio,
        vin,
        words,
    } = vehicle;
    if vin.is_some() {
        return Err(KeepingFailure::NumberInQuestion.into());
    }
    let side = drive_side.map(|side| match side {
        DriveSide::Left => "LEFT",
        DriveSide::Right => "RIGHT",
    });
    let words = (!words.is_empty()).then(|| words.join(" "));
    let texts = [
        ("make", make),
        ("model", model),
        ("trim", trim),
        ("build_month", build_month),
        ("market", market),
        ("drive_side", side.map(str::to_owned)),
        ("body", body),
        ("drivetrain", drivetrain),
        ("audio_option", audio),
        ("words", words),
    ];
    let mut said: Map<String, Value> =
        texts.into_iter().filter_map(|(name, text)| Some((name.to_owned(), text?.into()))).collect();
    said.extend(year.map(|year| ("model_year".to_owned(), year.into())));
    Ok(said.into())
}

/// A need as records spell it.
fn name(need: v1::Need) -> &'static str {
    need.as_str_name().trim_start_matches("NEED_")
}

async fn list(arguments: GoldenList) -> Result<(), Failure> {
    let GoldenList { page, source } = arguments;
    let question = v1::ListRecordsRequest {
        read_at: source.read_at.message(),
        kind: v1::RecordKind::GoldenQuestion.into(),
        page_size: page.page_size,
        ..v1::ListRecordsRequest::default()
    };
    let printed = Printed {
        name: "ListRecordsResponse",
        as_json: source.client.json,
        text: |answer: &_, last| text::records(answer, last, out::columns()),
    };
    let connection = Connection::open(&source.client).await?;
    let ask = async |page_token| {
        let request = v1::ListRecordsRequest { page_token, ..question.clone() };
        connection.answer(connection.catalogue().list_records(request).await)
    };
    each_page(page, ask, |answer| &answer.next_page_token, printed).await
}

async fn run(arguments: GoldenRun) -> Result<(), Failure> {
    let GoldenRun { draft, wrong_only, page, read_at, client } = arguments;
    let (connection, wrong) = (Connection::open(&client).await?, Cell::new(0));
    let page_size = page.page_size;
    if let Some(draft_id) = draft {
        let ask = async |page_token| {
            let draft_id = draft_id.clone();
            let request = v1::ListDraftGoldenAnswersRequest { draft_id, wrong_only, page_size, page_token };
            let answer = connection.answer(connection.curation().list_draft_golden_answers(request).await)?;
            wrong.set(answer.wrong);
            Ok(answer)
        };
        let text = |answer: &_, last| text::draft_golden_answers(answer, last, out::columns());
        let printed = Printed { name: "ListDraftGoldenAnswersResponse", as_json: client.json, text };
        each_page(page, ask, |answer: &v1::ListDraftGoldenAnswersResponse| &answer.next_page_token, printed)
            .await?;
    } else {
        let ask = async |page_token| {
            let read_at = read_at.clone().message();
            let request = v1::ListGoldenAnswersRequest { read_at, wrong_only, page_size, page_token };
            let answer = connection.answer(connection.curation().list_golden_answers(request).await)?;
            wrong.set(answer.wrong);
            Ok(answer)
        };
        let text = |answer: &_, last| text::golden_answers(answer, last, out::columns());
        let printed = Printed { name: "ListGoldenAnswersResponse", as_json: client.json, text };
        each_page(page, ask, |answer: &v1::ListGoldenAnswersResponse| &answer.next_page_token, printed)
            .await?;
    }
    match wrong.get() {
        0 => Ok(()),
        wrong => Err(KeepingFailure::AnsweredOtherwise { wrong }.into()),
    }
}

async fn accept(arguments: GoldenAccept) -> Result<(), Failure> {
    let GoldenAccept { draft, questions, bulk } = arguments;
    let golden_ids = questions.iter().map(ToString::to_string).collect();
    bulk::ask(draft, Edit::Accept(v1::AcceptAnswers { golden_ids }), bulk).await
}
