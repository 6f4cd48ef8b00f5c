//! Bench sheets over a socket: one page for one plan, refused for several, pictures alone, and no VIN on paper.

use dashwright_api::v1;
use dashwright_api::v1::sheet_service_client::SheetServiceClient;
use dashwright_tests::refused::Refused;
use dashwright_tests::service::Running;
use tonic::Code;
use tonic::transport::Channel;

const RADIO: &str = "nordvale-loom-10f";

fn client(running: &Running) -> SheetServiceClient<Channel> {
    SheetServiceClient::new(running.channel.clone())
}

fn vehicle(words: &str, audio: &str) -> Option<v1::VehicleQuestion> {
    let (words, audio_option) = (words.to_owned(), audio.to_owned());
    Some(v1::VehicleQuestion { words, audio_option, ..Default::default() })
}

fn sheet(words: &str, audio: &str, radio: &str) -> v1::RenderBenchSheetRequest {
    let radio_id = radio.to_owned();
    v1::RenderBenchSheetRequest { vehicle: vehicle(words, audio), radio_id, ..Default::default() }
}

fn picture(kind: v1::PictureKind, subject: &str) -> v1::RenderPictureRequest {
    let (radio_id, subject) = (RADIO.to_owned(), subject.to_owned());
    let (vehicle, picture) = (vehicle("2019 orvane ulvero", "A10"), kind.into());
    v1::RenderPictureRequest { vehicle, radio_id, picture, subject, ..Default::default() }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_plan_is_put_on_paper_with_the_fingerprint_that_the_plan_has() {
    let (_home, running) = Running::demo().await.unwrap();
    let request = sheet("2019 orvane ulvero", "A10", RADIO);
    let answer = client(&running).render_bench_sheet(request.clone()).await.unwrap().into_inner();
    let plan = v1::PlanInstallRequest {
        vehicle: request.vehicle.clone(),
        radio_id: RADIO.to_owned(),
        ..Default::default()
    };
    let plan = running.fitment.clone().plan_install(plan).await.unwrap().into_inner();
    assert_eq!((&answer.fingerprint, &answer.revision), (&plan.fingerprint, &plan.revision));
    let revision = plan.revision.unwrap();
    for text in [plan.fingerprint, revision.token, revision.content_hash] {
        assert!(answer.html.contains(&text), "no {text} on the sheet");
    }
    for part in plan
        .parts
        .iter()
        .filter(|part| plan.settled.as_ref().unwrap().parts.iter().any(|it| it.part_id == part.id))
    {
        assert!(answer.html.contains(&format!("part num\">{}</th>", part.number)), "no {}", part.number);
    }
    assert!(answer.html.starts_with("<!DOCTYPE html>") && answer.html.contains("size: A4"));
    let letter = v1::RenderBenchSheetRequest { paper: v1::Paper::Letter.into(), ..request.clone() };
    let letter = client(&running).render_bench_sheet(letter).await.unwrap().into_inner();
    assert_eq!(letter.html.replace("size: letter", "size: A4"), answer.html);
    let again = client(&running).render_bench_sheet(request).await.unwrap().into_inner();
    assert_eq!(again, answer);
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_vin_that_was_asked_with_is_not_on_the_sheet() {
    let (_home, running) = Running::demo().await.unwrap();
    // By a pattern of the demo catalogue, `UA4TC???-K?`: a maker whose numbers have no check digit.
    let vin = "UA4TCAAA1K1111111".to_owned();
    let question =
        v1::VehicleQuestion { vin: vin.clone(), audio_option: "A10".to_owned(), ..Default::default() };
    let request = v1::RenderBenchSheetRequest {
        vehicle: Some(question),
        radio_id: RADIO.to_owned(),
        ..Default::default()
    };
    let answer = client(&running).render_bench_sheet(request).await.unwrap().into_inner();
    assert!(answer.html.contains("Tamsel") && !answer.html.contains(&vin));
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_question_that_leaves_several_plans_has_no_sheet_and_says_what_to_ask() {
    let (_home, running) = Running::demo().await.unwrap();
    let open = sheet("2013 orvane tamsel hatchback", "", "sonquill-rowan-2");
    let refused = client(&running).render_bench_sheet(open).await.unwrap_err();
    assert!(refused.message().contains("say the audio option"), "{refused:?}");
    let refused = Refused::of(&refused);
    assert_eq!((refused.code, refused.reason.as_str()), (Code::FailedPrecondition, "SHEET_NOT_SETTLED"));
    assert_eq!(refused.metadata["open"], "audio option");
    assert!(refused.metadata["plans"].parse::<u32>().unwrap() > 1);
    let faulty =
        v1::RenderPictureRequest { picture: 9, subject: String::new(), ..picture(v1::PictureKind::Dash, "") };
    let refused = client(&running).render_picture(faulty).await.unwrap_err();
    assert_eq!(Refused::of(&refused).paths, ["picture"]);
    let faulty =
        v1::RenderBenchSheetRequest { paper: 9, radio_id: "no-such-radio".to_owned(), ..Default::default() };
    let refused = client(&running).render_bench_sheet(faulty).await.unwrap_err();
    assert_eq!(Refused::of(&refused).paths, ["paper", "radio_id"]);
    running.stop().await.unwrap();
}

/// By the records: 187 mm behind the panel of `falkrand-1`, and a chassis of 200 mm.
#[tokio::test(flavor = "multi_thread")]
async fn a_job_that_can_not_be_done_has_a_sheet_that_says_so_first() {
    let (_home, running) = Running::demo().await.unwrap();
    let request = sheet("2005 brennholt falkrand", "B4", "auristane-umber-2w");
    let answer = client(&running).render_bench_sheet(request).await.unwrap().into_inner();
    let (_, body) = answer.html.split_once("<body>").unwrap();
    let body = body.split_whitespace().collect::<Vec<_>>().join(" ");
    let first = "<main> <header> <p class=\"verdict stop\"><strong>DO NOT BEGIN THIS JOB.</strong>";
    assert!(body.starts_with(first), "{body}");
    assert!(body.contains("187 mm") && body.contains("200 mm") && !body.contains("Parts to pull"));
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn pictures_come_alone_and_by_their_subject() {
    let (_home, running) = Running::demo().await.unwrap();
    for (kind, count) in [
        (v1::PictureKind::Dash, 1),
        (v1::PictureKind::Side, 1),
        (v1::PictureKind::Switches, 1),
        (v1::PictureKind::Plug, 3),
    ] {
        let answer = client(&running).render_picture(picture(kind, "")).await.unwrap().into_inner();
        assert_eq!(answer.pictures.len(), count, "{kind:?}");
        for one in &answer.pictures {
            assert!(one.svg.starts_with("<svg xmlns=") && !one.title.is_empty() && !one.legend.is_empty());
            let only = picture(kind, &one.subject);
            let only = client(&running).render_picture(only).await.unwrap().into_inner();
            assert_eq!(only.pictures, std::slice::from_ref(one));
        }
    }
    let nothing = picture(v1::PictureKind::Plug, "no-such-plug");
    assert!(client(&running).render_picture(nothing).await.unwrap().into_inner().pictures.is_empty());
    running.stop().await.unwrap();
}
