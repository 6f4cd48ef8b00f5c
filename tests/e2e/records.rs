//! Records, searches and what is known of the dataset.

use std::collections::{BTreeMap, BTreeSet};

use dashwright_api::v1::{
    GetDatasetInfoRequest, GetRecordRequest, GetRecordSchemaRequest, ListRecordsRequest, Record, RecordKey,
    RecordKind, SearchRecordsRequest,
};
use dashwright_tests::refused::Refused;
use dashwright_tests::service::{Running, demo_json};
use serde_json::Value;

const KINDS: [(&str, RecordKind); 7] = [
    ("vocabulary", RecordKind::Vocabulary),
    ("dash", RecordKind::Dash),
    ("factory_audio", RecordKind::FactoryAudio),
    ("radio", RecordKind::Radio),
    ("part", RecordKind::Part),
    ("vehicle", RecordKind::Vehicle),
    ("golden_question", RecordKind::GoldenQuestion),
];

/// Every record of a kind by pages of a size, with what the pages are pinned to.
async fn pages(running: &Running, kind: RecordKind, page_size: u32) -> Vec<Record> {
    let mut client = running.catalogue.clone();
    let mut request = ListRecordsRequest { kind: kind.into(), page_size, ..Default::default() };
    let mut records = Vec::new();
    loop {
        let page = client.list_records(request.clone()).await.unwrap().into_inner();
        assert!(page.records.len() <= usize::try_from(page_size).unwrap());
        assert_eq!(page.revision.unwrap().number, 1);
        records.extend(page.records);
        if page.next_page_token.is_empty() {
            assert_eq!(page.total, records.len() as u64);
            return records;
        }
        request.page_token = page.next_page_token;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn pages_hold_every_record_once_and_as_it_was_written() {
    let (_home, running) = Running::demo().await.unwrap();
    let catalogue = demo_json().unwrap();
    assert_eq!(catalogue.len(), KINDS.len());
    for (name, kind) in KINDS {
        for page_size in [1, 7, 1000] {
            let records = pages(&running, kind, page_size).await;
            let ids: Vec<String> = records.iter().map(|it| it.key.clone().unwrap().id).collect();
            assert_eq!(ids, catalogue[name].keys().cloned().collect::<Vec<_>>(), "{name} by {page_size}");
            for record in records {
                let json: BTreeMap<String, Value> = serde_json::from_str(&record.json).unwrap();
                let id = &record.key.unwrap().id;
                assert_eq!(json, BTreeMap::from([(name.to_owned(), catalogue[name][id].clone())]), "{id}");
                assert!(!record.title.is_empty() && !record.etag.is_empty(), "{id}");
                assert_eq!(record.changed_in_revision, 1);
            }
        }
    }
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_prefix_and_a_key_lead_to_the_records_that_have_them() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = running.catalogue.clone();
    let request = ListRecordsRequest {
        kind: RecordKind::Vehicle.into(),
        id_prefix: "orvane-".to_owned(),
        ..Default::default()
    };
    let listed = client.list_records(request).await.unwrap().into_inner();
    let catalogue = demo_json().unwrap();
    let expected = catalogue["vehicle"].keys().filter(|id| id.starts_with("orvane-"));
    assert_eq!(listed.total, expected.count() as u64);
    for record in listed.records {
        let request = GetRecordRequest { key: record.key.clone(), ..Default::default() };
        let got = client.get_record(request).await.unwrap().into_inner();
        assert_eq!(got.record, Some(record));
        assert_eq!(got.revision, listed.revision);
    }
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_page_token_is_pinned_to_its_revision_and_its_request() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = running.catalogue.clone();
    let request =
        ListRecordsRequest { kind: RecordKind::Vehicle.into(), page_size: 10, ..Default::default() };
    let first = client.list_records(request.clone()).await.unwrap().into_inner();
    // A line that would stand on the first page, and so push another one over its edge.
    let line = r#"{"vocabulary":{"id":"aaa","of":"MAKE","name":"Aaa","evidence":{"grade":"ASSUMED","source":"a test","date":"2026-01-01"}}}"#;
    let mut vehicle = demo_json().unwrap()["vehicle"]["orvane-nimbrel-2008"].clone();
    vehicle["id"] = "aaa-1".into();
    vehicle["make"] = "aaa".into();
    vehicle["vin_patterns"] = Value::Array(Vec::new());
    let vehicle = serde_json::json!({ "vehicle": vehicle }).to_string();
    assert_eq!(running.load(vec![line.to_owned(), vehicle]).await.unwrap().revision, 2);

    let mut ids: Vec<String> = first.records.iter().map(|it| it.key.clone().unwrap().id).collect();
    let mut token = first.next_page_token.clone();
    while !token.is_empty() {
        let next = ListRecordsRequest { page_token: token, ..request.clone() };
        let page = client.list_records(next).await.unwrap().into_inner();
        assert_eq!(page.revision, first.revision, "pinned to the revision of the first page");
        ids.extend(page.records.into_iter().map(|it| it.key.unwrap().id));
        token = page.next_page_token;
    }
    let expected = demo_json().unwrap();
    assert_eq!(ids, expected["vehicle"].keys().cloned().collect::<Vec<_>>());
    let latest = client.list_records(request.clone()).await.unwrap().into_inner();
    assert_eq!((latest.revision.unwrap().number, latest.total), (2, first.total + 1));

    let foreign = ListRecordsRequest {
        id_prefix: "o".to_owned(),
        page_token: first.next_page_token.clone(),
        ..request.clone()
    };
    let mut altered = first.next_page_token.clone();
    altered.replace_range(3..4, if altered.get(3..4) == Some("A") { "B" } else { "A" });
    let altered = ListRecordsRequest { page_token: altered, ..request };
    for wrong in [foreign, altered] {
        let refused = Refused::of(&client.list_records(wrong).await.unwrap_err());
        assert_eq!(refused.reason, "PAGE_TOKEN_INVALID");
        assert_eq!(refused.paths, ["page_token"]);
    }
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_misspelt_search_finds_what_was_meant() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = running.catalogue.clone();
    for (query, kinds, expected) in [
        ("Tessamr", vec![RecordKind::Vocabulary], "tessamer"),
        ("Kuradell", vec![], "veshiro-kuradel"),
        ("orvane-nimbrel-2008", vec![RecordKind::Vehicle], "orvane-nimbrel-2008"),
    ] {
        let kinds = kinds.into_iter().map(i32::from).collect();
        let request = SearchRecordsRequest { query: query.to_owned(), kinds, ..Default::default() };
        let found = client.search_records(request).await.unwrap().into_inner();
        let hit = found.hits.first().unwrap();
        assert!(hit.key.as_ref().unwrap().id.starts_with(expected), "{query}: {hit:?}");
        assert!(!hit.matched.is_empty() && hit.similarity_percent > 50, "{hit:?}");
        assert!(found.hits.is_sorted_by(|one, other| one.similarity_percent >= other.similarity_percent));
    }
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn the_dataset_is_counted_and_the_limits_are_told() {
    let (_home, running) = Running::demo().await.unwrap();
    let info = running
        .catalogue
        .clone()
        .get_dataset_info(GetDatasetInfoRequest::default())
        .await
        .unwrap()
        .into_inner();
    let counts: BTreeMap<RecordKind, u64> = info.counts.iter().map(|it| (it.kind(), it.count)).collect();
    let catalogue = demo_json().unwrap();
    let expected = KINDS.map(|(name, kind)| (kind, catalogue[name].len() as u64));
    assert_eq!(counts, expected.into());
    // What 4-service.md promises and a caller can rely on.
    for (name, value) in [
        ("request_bytes", 1 << 20),
        ("answer_bytes", 4 << 20),
        ("header_bytes", 16 << 10),
        ("streams_per_connection", 128),
        ("error_detail_bytes", 4 << 10),
        ("text_characters", 120),
        ("records_per_page", 1000),
        ("choices_per_page", 1000),
        ("candidates_per_page", 500),
        ("candidates_weighed", 200),
        ("hits_per_search", 100),
    ] {
        assert_eq!(info.limits.get(name), Some(&value), "{name}");
    }
    assert!(info.limits.len() >= 20 && !info.incarnation.is_empty() && info.published_at.ends_with('Z'));
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn every_record_of_the_catalogue_is_valid_by_the_schema_of_its_kind() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = running.catalogue.clone();
    for (name, records) in demo_json().unwrap() {
        let kind = KINDS.iter().find(|(it, _)| *it == name).unwrap().1;
        let request = GetRecordSchemaRequest { kind: kind.into() };
        let schema = client.get_record_schema(request).await.unwrap().into_inner().json_schema;
        // Checked by an independent validator of JSON Schema (the crate `jsonschema`), draft 2020-12.
        let schema: Value = serde_json::from_str(&schema).unwrap();
        let validator = jsonschema::draft202012::new(&schema).unwrap();
        for (id, record) in &records {
            let faults: Vec<String> = validator.iter_errors(record).map(|it| it.to_string()).collect();
            assert!(faults.is_empty(), "{name} {id}: {faults:?}");
        }
        let (id, mut broken) = records.into_iter().next().unwrap();
        broken["no_such_field"] = 1.into();
        assert!(!validator.is_valid(&broken), "{name} {id} with an unknown field passes");
    }
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn an_empty_dataset_is_revision_nought_and_has_no_records() {
    let home = dashwright_tests::service::Home::new("empty").unwrap();
    let running = Running::start(&home).await.unwrap();
    for (_, kind) in KINDS {
        let request = ListRecordsRequest { kind: kind.into(), ..Default::default() };
        let listed = running.catalogue.clone().list_records(request).await.unwrap().into_inner();
        assert_eq!((listed.revision.unwrap().number, listed.total, listed.records.len()), (0, 0, 0));
    }
    let missing = RecordKey { kind: RecordKind::Dash.into(), id: "none".to_owned() };
    let request = GetRecordRequest { key: Some(missing), ..Default::default() };
    let refused = Refused::of(&running.catalogue.clone().get_record(request).await.unwrap_err());
    assert_eq!(refused.reason, "RECORD_NOT_FOUND");
    let keys: BTreeSet<&str> = refused.keys().into_iter().collect();
    assert_eq!(keys, BTreeSet::from(["id", "kind"]));
    running.stop().await.unwrap();
}
