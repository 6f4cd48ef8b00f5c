//! Golden questions and what they are answered.

use dashwright_api::v1;

use super::findings::head;
use super::lists::{count, more};
use super::page::{Page, bad, good, warning};
use super::terms;

/// The width of labels.
const LABEL: usize = 11;

/// Golden questions, asked of a revision.
pub(crate) fn golden_answers(answer: &v1::ListGoldenAnswersResponse, last: bool, columns: usize) -> String {
    let v1::ListGoldenAnswersResponse { revision, answers, total, wrong, next_page_token } = answer;
    let mut page = Page::new(columns);
    head(&mut page, None, revision.as_ref());
    list(&mut page, answers, (*total, *wrong));
    more(&mut page, next_page_token, last);
    page.finish()
}

/// Golden questions, asked of a draft.
pub(crate) fn draft_golden_answers(
    answer: &v1::ListDraftGoldenAnswersResponse,
    last: bool,
    columns: usize,
) -> String {
    let v1::ListDraftGoldenAnswersResponse { draft, onto, answers, total, wrong, complete, next_page_token } =
        answer;
    let mut page = Page::new(columns);
    head(&mut page, draft.as_ref(), onto.as_ref());
    let id = draft.as_ref().map_or("", |draft| draft.draft_id.as_str());
    if *complete {
        list(&mut page, answers, (*total, *wrong));
    } else {
        page.line(0, "the records contradict each other, so that nothing could be asked:");
        page.line(0, &format!("mend what `dashwright draft check {id}` tells first"));
    }
    if *wrong > 0 {
        page.line(
            0,
            &format!("where an answer is right: `dashwright golden accept {id} QUESTION --reason TEXT`"),
        );
    }
    more(&mut page, next_page_token, last);
    page.finish()
}

/// A golden question that was put into a draft.
pub(crate) fn golden_added(answer: &v1::ListDraftGoldenAnswersResponse, columns: usize) -> String {
    let mut page = Page::new(columns);
    head(&mut page, answer.draft.as_ref(), answer.onto.as_ref());
    for it in &answer.answers {
        one(&mut page, it);
    }
    let draft = answer.draft.as_ref().map_or("", |draft| draft.draft_id.as_str());
    page.line(
        0,
        &format!("look whether it is right; next: `dashwright draft publish {draft} --reason TEXT`"),
    );
    page.finish()
}

fn list(page: &mut Page, answers: &[v1::GoldenAnswer], (total, wrong): (u64, u64)) {
    let asked = format!("{}, {wrong} answered otherwise", count(total, "question"));
    page.labelled(2, "asked", LABEL, &if wrong == 0 { good(&asked) } else { bad(&asked) });
    for it in answers {
        one(page, it);
    }
}

fn one(page: &mut Page, it: &v1::GoldenAnswer) {
    let v1::GoldenAnswer { golden_id, title, expected, found, refused, right } = it;
    page.heading(&format!("{golden_id}: {title}"));
    let short = |answer: &Option<v1::ShortAnswer>| answer.as_ref().map(said).unwrap_or_default();
    if *right {
        page.labelled(2, "answer", LABEL, &short(found));
        return;
    }
    page.labelled(2, "right", LABEL, &short(expected));
    let now = if found.is_some() { short(found) } else { format!("none: {refused}") };
    page.labelled(2, "now", LABEL, &warning(&now));
}

fn said(answer: &v1::ShortAnswer) -> String {
    let lists = answer.plans.iter().map(|list| match list.part_ids.as_slice() {
        [] => "no part".to_owned(),
        ids => ids.join(" + "),
    });
    let lists: Vec<String> = lists.collect();
    let verdict = terms::verdict(answer.verdict());
    if lists.is_empty() { verdict.to_owned() } else { format!("{verdict}: {}", lists.join(", or ")) }
}
