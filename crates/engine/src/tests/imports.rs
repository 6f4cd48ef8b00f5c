//! Imports: all of a file or nothing, whatever breaks it off.

use std::io;
use std::ops::ControlFlow;

use dashwright_log::{AppendError, Digest};
use dashwright_model::exchange::to_line;
use dashwright_model::rows::Format;

use super::*;
use dashwright_model::outcome::JobResult;

use crate::{
    Acceptance, Conditions, Expected, Import, ImportCounts, ImportError, ImportProgress, Imported, OnConflict,
};

/// A file of records.
fn lines(records: &[Record]) -> String {
    records.iter().map(|record| to_line(record).unwrap() + "\n").collect()
}

fn importing(
    engine: &Engine,
    request: &str,
    draft: &str,
    file: &str,
    on_conflict: OnConflict,
) -> Result<Imported, ImportError> {
    let content = Digest::of(file.as_bytes());
    let import = Import { draft: draft.to_owned(), content, on_conflict, validate_only: false };
    run(engine, request, &import, file, &mut |_| ControlFlow::Continue(())).map(Option::unwrap)
}

fn run(
    engine: &Engine,
    request: &str,
    import: &Import,
    file: &str,
    progress: &mut dyn FnMut(ImportProgress) -> ControlFlow<()>,
) -> Result<Option<Imported>, ImportError> {
    let open = || io::Result::Ok(Format::JsonLines.read(file.as_bytes()));
    engine.import(&origin(Some(request)), import, &open, progress)
}

fn begun(engine: &Engine) -> String {
    engine.create_draft(&origin(None)).unwrap().id
}

fn items(engine: &Engine, draft: &str) -> Vec<String> {
    let facts = engine.open_draft(draft).unwrap();
    engine.items_of(&facts, None, usize::MAX).unwrap().into_iter().map(|item| item.record).collect()
}

#[test]
fn a_file_is_put_and_what_is_there_already_is_left_alone() {
    let bench = Bench::new();
    let engine = bench.start();
    load(&engine, dataset(), None).unwrap();
    let draft = begun(&engine);
    let file = lines(&[dataset(), vec![vehicle("w", 2020), vehicle("x", 2021)]].concat());
    let imported = importing(&engine, "r1", &draft, &file, OnConflict::Refuse).unwrap();
    assert_eq!(imported.counts, ImportCounts { records: 13, put: 2, unchanged: 11, kept: 0 });
    assert_eq!((imported.faults_total, imported.drafted.repeated), (0, false));
    assert_eq!(items(&engine, &draft), ["vehicle/w", "vehicle/x"]);
    assert!(engine.open_draft(&draft).unwrap().import.is_none());

    // The repetition tells it again, also after a restart, and writes nothing.
    let entries = bench.log.head();
    assert!(importing(&engine, "r1", &draft, &file, OnConflict::Refuse).unwrap().drafted.repeated);
    drop(engine);
    let engine = bench.start();
    assert!(importing(&engine, "r1", &draft, &file, OnConflict::Refuse).unwrap().drafted.repeated);
    assert_eq!(bench.log.head(), entries);
    let published = engine.publish_draft(&origin(None), &draft, &Conditions::default()).unwrap();
    assert_eq!((published.revision, published.records), (2, 13));
}

#[test]
fn what_another_record_of_the_key_does_is_for_the_caller_to_say() {
    let bench = Bench::new();
    let engine = bench.start();
    load(&engine, dataset(), None).unwrap();
    let draft = begun(&engine);
    // One differs from the dataset, one from the draft, one is deleted in the draft, one is the same as in the draft.
    put_over(&engine, None, &draft, &[vehicle("x", 2001), vehicle("y", 2002)]).unwrap();
    let deleted = crate::Delete { key: "vehicle/v3".parse().unwrap(), expected: Expected::Anything };
    engine.edit_draft(&origin(None), &draft, vec![], vec![deleted], false).unwrap();
    let file = lines(&[vehicle("v0", 1990), vehicle("x", 2011), vehicle("v3", 2003), vehicle("y", 2002)]);

    let refused = importing(&engine, "r1", &draft, &file, OnConflict::Refuse).unwrap();
    let faults: Vec<_> = refused.faults.iter().map(|it| (it.row, it.text.as_str())).collect();
    assert_eq!(
        faults,
        [(1, "there is another `vehicle/v0` already"), (2, "there is another `vehicle/x` already")]
    );
    assert_eq!(items(&engine, &draft).len(), 3, "with faults nothing is done");

    let kept = importing(&engine, "r2", &draft, &file, OnConflict::Keep).unwrap();
    assert_eq!(kept.counts, ImportCounts { records: 4, put: 1, unchanged: 1, kept: 2 });
    let replaced = importing(&engine, "r3", &draft, &file, OnConflict::Replace).unwrap();
    assert_eq!(replaced.counts, ImportCounts { records: 4, put: 2, unchanged: 2, kept: 0 });
    assert_eq!(items(&engine, &draft), ["vehicle/v0", "vehicle/v3", "vehicle/x", "vehicle/y"]);
}

#[test]
fn every_fault_is_counted_and_a_dry_run_does_nothing() {
    let bench = Bench::new();
    let engine = bench.start();
    let draft = begun(&engine);
    let entries = bench.log.head();
    let bad = "{}\n".repeat(250) + &lines(&[vehicle("a", 2000), vehicle("b", 2000), vehicle("a", 2001)]);
    let refused = importing(&engine, "r1", &draft, &bad, OnConflict::Replace).unwrap();
    assert_eq!((refused.faults.len(), refused.faults_total), (100, 251));
    let twice = lines(&[vehicle("a", 2000), vehicle("b", 2000), vehicle("a", 2000)]);
    let refused = importing(&engine, "r1", &draft, &twice, OnConflict::Replace).unwrap();
    assert_eq!(refused.faults[0].to_string(), "row 3, column `id`: `vehicle/a` stands in row 1 already");

    let good = lines(&dataset());
    let content = Digest::of(good.as_bytes());
    let import =
        Import { draft: draft.clone(), content, on_conflict: OnConflict::Refuse, validate_only: true };
    let told = run(&engine, "r1", &import, &good, &mut |_| ControlFlow::Continue(())).unwrap().unwrap();
    assert_eq!(told.counts.put, 11);
    assert_eq!(bench.log.head(), entries);
    // Who no longer listens has nothing begun.
    let import = Import { validate_only: false, ..import };
    let many = lines(&(0..2_000).map(|number| vehicle(&format!("n{number}"), 2000)).collect::<Vec<_>>());
    assert!(run(&engine, "r1", &import, &many, &mut |_| ControlFlow::Break(())).unwrap().is_none());
    assert_eq!(bench.log.head(), entries);
}

/// A log that takes so many appends and then has no room, until it is told otherwise.
struct Narrow {
    log: Arc<MemoryLog>,
    left: AtomicU64,
}

impl Log for Narrow {
    fn head(&self) -> dashwright_log::Head {
        self.log.head()
    }

    fn append_all(
        &self,
        expected: dashwright_log::Head,
        entries: Vec<dashwright_log::NewEntry>,
    ) -> Result<Vec<dashwright_log::StoredEntry>, AppendError> {
        match self.left.load(Ordering::Relaxed) {
            0 => Err(AppendError::NoSpace { free: 0, needed: 1 }),
            left => {
                self.left.store(left - 1, Ordering::Relaxed);
                self.log.append_all(expected, entries)
            }
        }
    }

    fn read_from(
        &self,
        from: dashwright_log::Sequence,
        limit: usize,
    ) -> Result<Vec<dashwright_log::StoredEntry>, dashwright_log::ReadError> {
        self.log.read_from(from, limit)
    }

    fn wait_beyond(
        &self,
        sequence: dashwright_log::Sequence,
        timeout: std::time::Duration,
    ) -> dashwright_log::Head {
        self.log.wait_beyond(sequence, timeout)
    }
}

#[test]
fn an_import_that_is_broken_off_keeps_everything_else_out_until_it_is_finished() {
    // The file is put by four batches; break it off behind each of the first three.
    for taken in 1..4 {
        let bench = Bench::new();
        let log = Arc::new(Narrow { log: Arc::clone(&bench.log), left: AtomicU64::new(u64::MAX) });
        let engine = start_on(Arc::clone(&log) as Arc<dyn Log>, &bench.store()).unwrap().0;
        load(&engine, dataset(), None).unwrap();
        let worked = outcomes::report(JobResult::Worked, &[], "");
        let outcome = engine.report_outcome(&origin(None), worked).unwrap().number;
        let draft = begun(&engine);
        let records: Vec<_> =
            (0..20).map(|number| vehicle(&format!("n{number:02}"), 1960 + number)).collect();
        let file = lines(&records);
        log.left.store(taken, Ordering::Relaxed);
        let broken = importing(&engine, "r1", &draft, &file, OnConflict::Refuse);
        assert!(matches!(broken, Err(ImportError::Write(WriteError::Log(AppendError::NoSpace { .. })))));
        assert_eq!(items(&engine, &draft).len() as u64, taken * 6);
        drop(engine);
        log.left.store(u64::MAX, Ordering::Relaxed);
        let engine = bench.start();
        let facts = engine.open_draft(&draft).unwrap();
        assert_eq!(facts.import.as_ref().map(|it| it.request_id.as_str()), Some("r1"));

        // Nothing else gets in or out: no edit, no other import, no other file under this request, no accepted outcome, no publish.
        let unfinished = |error: &WriteError| matches!(error, WriteError::ImportUnfinished { .. });
        assert!(put_over(&engine, None, &draft, &more()).is_err_and(|error| unfinished(&error)));
        let other = importing(&engine, "r2", &draft, &file, OnConflict::Refuse).unwrap_err();
        assert!(matches!(&other, ImportError::Write(error) if unfinished(error)));
        let other = importing(&engine, "r1", &draft, &lines(&more()), OnConflict::Refuse).unwrap_err();
        assert!(matches!(&other, ImportError::Write(error) if unfinished(error)));
        let accepting = Acceptance { outcome, draft: draft.clone(), records: None };
        let accepted = engine.accept_outcome(&origin(None), accepting, false);
        assert!(accepted.is_err_and(|error| unfinished(&error)));
        let publish = engine.publish_draft(&origin(None), &draft, &Conditions::default()).unwrap_err();
        assert!(matches!(&publish, LoadError::Write(error) if unfinished(error)));

        // Meanwhile others publish: what the file did not know of is a collision, and not overwritten unseen.
        load(&engine, vec![vehicle("n00", 1950), vehicle("n19", 1951)], None).unwrap();
        let refused = importing(&engine, "r1", &draft, &file, OnConflict::Refuse).unwrap();
        let rows: Vec<_> = refused.faults.iter().map(|fault| fault.row).collect();
        assert_eq!(rows, [20], "the first is in the draft already, the last is not");
        load(&engine, vec![vehicle("n19", 1979)], None).unwrap();
        let finished = importing(&engine, "r1", &draft, &file, OnConflict::Refuse).unwrap();
        assert_eq!(finished.counts.unchanged, taken * 6 + 1);
        assert!(engine.open_draft(&draft).unwrap().import.is_none());
        assert_eq!(items(&engine, &draft).len(), 19);
        let collides = engine.publish_draft(&origin(None), &draft, &Conditions::default()).unwrap_err();
        let LoadError::Write(collides) = collides else { panic!("{collides}") };
        assert!(matches!(&*collides, WriteError::Collides { first, .. } if first == &["vehicle/n00"]));
    }
}

#[test]
fn a_draft_with_a_broken_off_import_is_discarded_like_any_other() {
    let bench = Bench::new();
    let log = Arc::new(Narrow { log: Arc::clone(&bench.log), left: AtomicU64::new(u64::MAX) });
    let engine = start_on(Arc::clone(&log) as Arc<dyn Log>, &bench.store()).unwrap().0;
    let draft = begun(&engine);
    log.left.store(1, Ordering::Relaxed);
    importing(&engine, "r1", &draft, &lines(&dataset()), OnConflict::Refuse).unwrap_err();
    log.left.store(u64::MAX, Ordering::Relaxed);
    engine.discard_draft(&origin(None), &draft).unwrap();
    let gone = importing(&engine, "r1", &draft, &lines(&dataset()), OnConflict::Refuse).unwrap_err();
    assert!(matches!(gone, ImportError::Write(WriteError::NoOpenDraft { .. })));
}

#[test]
fn an_edit_beside_the_comparing_is_seen() {
    let bench = Bench::new();
    let engine = bench.start();
    let draft = begun(&engine);
    let records: Vec<_> = (0..1_000).map(|number| vehicle(&format!("n{number}"), 2000)).collect();
    let (file, mut times) = (lines(&records), 0);
    let content = Digest::of(file.as_bytes());
    let import =
        Import { draft: draft.clone(), content, on_conflict: OnConflict::Refuse, validate_only: false };
    let imported = run(&engine, "r1", &import, &file, &mut |progress| {
        if matches!(progress, ImportProgress::Read(_)) {
            times += 1;
            if times == 1 {
                put_over(&engine, None, &draft, &[vehicle("n7", 2007)]).unwrap();
            }
        }
        ControlFlow::Continue(())
    });
    let imported = imported.unwrap().unwrap();
    assert_eq!((times, imported.faults_total), (2, 1), "it is compared again, and the other record found");
    assert_eq!(items(&engine, &draft), ["vehicle/n7"]);
}
