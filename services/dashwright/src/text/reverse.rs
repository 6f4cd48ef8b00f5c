//! Lists of radios for a vehicle, and of vehicles for a radio or a part.

use dashwright_api::v1;

use super::lists::{count, more};
use super::page::Page;
use super::{terms, what_was_read};

/// Radios for a vehicle, with what becomes of each and what its parts come to.
pub(crate) fn radios(answer: &v1::ListRadiosForVehicleResponse, last: bool, columns: usize) -> String {
    let v1::ListRadiosForVehicleResponse {
        revision,
        candidates,
        remaining_lines,
        radios,
        total,
        next_page_token,
        parts: _,
    } = answer;
    let mut page = Page::new(columns);
    let rows = radios.iter().map(|row| {
        let radio = row.radio.clone().unwrap_or_default();
        let verdict = terms::verdict(row.verdict()).to_owned();
        let (least, most) = (row.least.as_ref(), row.most.as_ref());
        vec![radio.id, format!("{} {}", radio.brand, radio.model), verdict, span(least, most)]
    });
    page.table(&["radio", "", "verdict", "its parts"], rows.collect());
    if last {
        let lines = count((*remaining_lines).into(), "vehicle line");
        page.line(
            0,
            &match candidates.len() {
                0 => format!("{lines} remain, too many to weigh: say more of the vehicle"),
                each => format!("{}, over {}", count((*total).into(), "radio"), count(wide(each), "vehicle")),
            },
        );
    }
    ending(page, (last, next_page_token, revision.as_ref()))
}

/// Vehicles that a radio goes into.
pub(crate) fn vehicles_for_radio(
    answer: &v1::ListVehiclesForRadioResponse,
    last: bool,
    columns: usize,
) -> String {
    let v1::ListVehiclesForRadioResponse { revision, vehicles, total_lines, next_page_token } = answer;
    let mut page = Page::new(columns);
    let rows = vehicles.iter().map(|row| {
        let verdict = terms::verdict(row.verdict()).to_owned();
        let total = span(row.total.as_ref(), None);
        vehicle(row.vehicle.as_ref()).into_iter().chain([verdict, total]).collect()
    });
    page.table(&["vehicle line", "", "audio", "verdict", "its parts"], rows.collect());
    if last {
        page.line(0, &format!("of {}", count((*total_lines).into(), "vehicle line")));
    }
    ending(page, (last, next_page_token, revision.as_ref()))
}

/// Vehicles that a part serves, and what it does there.
pub(crate) fn vehicles_for_part(
    answer: &v1::ListVehiclesForPartResponse,
    last: bool,
    columns: usize,
) -> String {
    let v1::ListVehiclesForPartResponse { revision, vehicles, total, next_page_token, successor_part_id } =
        answer;
    let mut page = Page::new(columns);
    if !successor_part_id.is_empty() {
        page.line(
            0,
            &format!("the part is superseded: this is what `{successor_part_id}`, its successor, serves"),
        );
    }
    let rows = vehicles.iter().map(|row| {
        let needs: Vec<String> = row.serves().map(terms::need).collect();
        vehicle(row.vehicle.as_ref()).into_iter().chain([needs.join(", ")]).collect()
    });
    page.table(&["vehicle line", "", "audio", "for"], rows.collect());
    if last {
        page.line(
            0,
            &format!("{} in all, counted with each audio option", count((*total).into(), "vehicle")),
        );
    }
    ending(page, (last, next_page_token, revision.as_ref()))
}

/// What parts come to, from the cheapest vehicle to the dearest.
fn span(least: Option<&v1::Total>, most: Option<&v1::Total>) -> String {
    let price = |total: Option<&v1::Total>| Some(total?.price.as_ref()?.text.clone());
    match (price(least), price(most)) {
        (Some(least), Some(most)) if least != most => format!("{least} to {most}"),
        (Some(price), _) | (None, Some(price)) => price,
        (None, None) => String::new(),
    }
}

/// The line, its name, and the audio option.
fn vehicle(candidate: Option<&v1::Candidate>) -> Vec<String> {
    let Some(it) = candidate else { return vec![String::new(); 3] };
    let years = if it.first_year == it.last_year {
        it.first_year.to_string()
    } else {
        format!("{} to {}", it.first_year, it.last_year)
    };
    vec![it.vehicle_id.clone(), format!("{} {}, {years}", it.make, it.model), it.audio_option.clone()]
}

fn ending(mut page: Page, (last, token, revision): (bool, &str, Option<&v1::DatasetRevision>)) -> String {
    more(&mut page, token, last);
    if last {
        page.line(0, &what_was_read(revision));
    }
    page.finish()
}

fn wide(count: usize) -> u64 {
    u64::try_from(count).unwrap_or(u64::MAX)
}
