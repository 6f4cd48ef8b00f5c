//! The command line: what is understood, and what is refused.

use super::*;

fn parse(line: &str) -> Result<Command, clap::Error> {
    Cli::try_parse_from(line.split_whitespace()).map(|cli| cli.command)
}

fn look_up(line: &str) -> LookUp {
    match parse(line).unwrap() {
        Command::LookUp(look_up) => look_up,
        other => panic!("{other:?}"),
    }
}

fn refused(line: &str) -> String {
    parse(line).map(|command| format!("{command:?}")).unwrap_err().to_string()
}

#[test]
fn the_definition_is_sound() {
    <Cli as clap::CommandFactory>::command().debug_assert();
    assert_eq!(DEFAULT_SERVER, format!("http://127.0.0.1:{DEFAULT_PORT}"));
}

#[test]
fn a_question_takes_words_and_attributes_mixed() {
    let asked =
        look_up("dashwright look-up 2013 orvane --body hatchback tamsel --drive-side right --audio A8");
    let question = asked.vehicle.question();
    assert_eq!(question.words, "2013 orvane tamsel");
    assert_eq!((question.body.as_str(), question.audio_option.as_str()), ("hatchback", "A8"));
    assert_eq!(question.drive_side(), v1::DriveSide::Right);
    let nothing = look_up("dashwright look-up").vehicle.question();
    assert_eq!(nothing, v1::VehicleQuestion::default());
}

#[test]
fn every_attribute_reaches_the_question() {
    let line = "dashwright look-up --year 2013 --make a --model b --trim c --build-month 2018-03 --market d \
                --drive-side left --body e --drivetrain f --audio g --vin h i";
    let question = look_up(line).vehicle.question();
    let text = |value: &str| value.to_owned();
    let whole = v1::VehicleQuestion {
        vin: text("h"),
        model_year: 2013,
        make: text("a"),
        model: text("b"),
        trim: text("c"),
        build_month: text("2018-03"),
        market: text("d"),
        drive_side: v1::DriveSide::Left.into(),
        body: text("e"),
        drivetrain: text("f"),
        audio_option: text("g"),
        words: text("i"),
    };
    assert_eq!(question, whole);
}

#[test]
fn a_read_says_one_revision_or_none() {
    use v1::read_at::At;
    assert_eq!(look_up("dashwright look-up x").read_at.message(), None);
    let at = look_up("dashwright look-up x --at T").read_at.message();
    assert_eq!(at, Some(v1::ReadAt { at: Some(At::Exactly("T".to_owned())) }));
    let at_least = look_up("dashwright look-up x --at-least T").read_at.message();
    assert_eq!(at_least, Some(v1::ReadAt { at: Some(At::AtLeast("T".to_owned())) }));
    assert!(refused("dashwright look-up x --at T --at-least T").contains("cannot be used with"));
}

#[test]
fn a_server_needs_no_scheme_and_has_no_path() {
    for (typed, taken) in [
        ("localhost:9", "http://localhost:9"),
        ("http://[::1]:9", "http://[::1]:9"),
        ("http://10.0.0.1:9/", "http://10.0.0.1:9/"),
    ] {
        assert_eq!(server(typed).as_deref(), Ok(taken));
    }
    for bad in ["", "http://", "https://host:9", "http://host:9/path", "ftp://host"] {
        assert!(server(bad).is_err(), "{bad}");
    }
}

#[test]
fn an_address_is_one_of_a_socket() {
    assert_eq!(address("localhost:0"), Ok(SocketAddr::from(([127, 0, 0, 1], 0))));
    assert_eq!(address("[::1]:7"), "[::1]:7".parse().map_err(|_| ""));
    for bad in ["", "61761", "localhost", "127.0.0.1", "host.example:1", "127.0.0.1:70000"] {
        assert!(address(bad).is_err(), "{bad}");
    }
}

#[test]
fn records_are_named_by_kind_and_id() {
    let Command::Record(Record::Get(get)) = parse("dashwright record get factory_audio/orv-1").unwrap()
    else {
        panic!("another command");
    };
    assert_eq!((get.key.kind, get.key.id.as_str()), (RecordKind::FactoryAudio, "orv-1"));
    assert!(refused("dashwright record get kit-7").contains("is not a record key like `part/kit-7`"));
    assert!(refused("dashwright record get widget/kit-7").contains("is not a kind of record"));
    let unknown = refused("dashwright record list widget");
    assert!(RecordKind::NAMES.iter().all(|name| unknown.contains(name)), "{unknown}");
    let Command::Record(Record::Search(search)) =
        parse("dashwright record search blue kit --kind part --kind dash").unwrap()
    else {
        panic!("another command");
    };
    assert_eq!(search.words, ["blue", "kit"]);
    assert_eq!(search.kind, [RecordKind::Part, RecordKind::Dash]);
}

#[test]
fn serving_needs_a_directory() {
    assert!(refused("dashwright serve").contains("--data <DIR>"));
    let Command::Serve(serve) = parse("dashwright serve --data d").unwrap() else {
        panic!("another command")
    };
    assert_eq!(serve.listen, default_address());
    assert!(serve.listen.ip().is_loopback());
    assert!(!serve.init && !serve.allow_public_without_keys);
}
