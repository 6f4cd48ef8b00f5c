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
    assert_eq!(look_up("dashwright look-up x").source.read_at.message(), None);
    let at = look_up("dashwright look-up x --at T").source.read_at.message();
    assert_eq!(at, Some(v1::ReadAt { at: Some(At::Exactly("T".to_owned())) }));
    let at_least = look_up("dashwright look-up x --at-least T").source.read_at.message();
    assert_eq!(at_least, Some(v1::ReadAt { at: Some(At::AtLeast("T".to_owned())) }));
    assert!(refused("dashwright look-up x --at T --at-least T").contains("cannot be used with"));
}

#[test]
fn a_server_needs_no_scheme_and_has_no_path() {
    for (typed, taken) in [
        ("localhost:9", "http://localhost:9"),
        ("http://[::1]:9", "http://[::1]:9"),
        ("http://10.0.0.1:9/", "http://10.0.0.1:9/"),
        ("https://host:9", "https://host:9"),
    ] {
        assert_eq!(server(typed).as_deref(), Ok(taken));
    }
    for bad in ["", "http://", "https://", "https://host:9/path", "http://host:9/path", "ftp://host"] {
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
fn serving_takes_what_is_done_once_and_leaves_the_settings_to_their_table() {
    let Command::Serve(serve) = parse("dashwright serve --init --load f --config c --data d").unwrap() else {
        panic!("another command")
    };
    assert!(serve.init);
    assert_eq!((serve.load, serve.config), (Some("f".into()), Some("c".into())));
    for (bad, said) in [
        ("--listen 7", "--listen"),
        ("--log-format xml", "text, json"),
        ("--allow-plaintext=maybe", "true nor false"),
        ("--data", "--data"),
        ("--log ==", "log filter"),
    ] {
        assert!(refused(&format!("dashwright serve {bad}")).contains(said), "{bad}");
    }
}

#[test]
fn certificates_and_keys_go_in_pairs() {
    for half in ["--client-cert a", "--client-key a"] {
        assert!(refused(&format!("dashwright info {half}")).contains("--client-"), "{half}");
    }
    let Command::Info(info) = parse("dashwright info --server https://a:1 --key-file k --ca c").unwrap()
    else {
        panic!("another command")
    };
    assert_eq!(info.source.client.server, "https://a:1");
    assert!(refused("dashwright info --server ftp://a:1").contains("https://"));
}

fn plan_of(line: &str) -> Plan {
    match parse(line).unwrap() {
        Command::Plan(plan) => *plan,
        other => panic!("{other:?}"),
    }
}

fn cart_of(line: &str) -> Cart {
    match parse(line).unwrap() {
        Command::Cart(cart) => *cart,
        other => panic!("{other:?}"),
    }
}

#[test]
fn an_order_that_says_nothing_wants_nothing_special() {
    let plan = plan_of("dashwright plan --radio r-1 2013 tamsel");
    assert_eq!((plan.radio.as_str(), plan.full, plan.explain), ("r-1", false, false));
    let expected = v1::Order { aim: v1::Aim::LowestPrice.into(), ..v1::Order::default() };
    assert_eq!(plan.order.message(), expected);
    assert!(refused("dashwright plan 2013 tamsel").contains("--radio <RADIO>"));
}

#[test]
fn every_word_of_an_order_reaches_it() {
    let plan = plan_of(
        "dashwright plan --radio r --aim least-bench-time --wish steering=5 --wish USB --wish aux=0 \
         --only-named-wishes --exclude a --exclude b --stock c --in-hand d --consent hazard-switch \
         --consent AIRBAG_LAMP --price a=1590 --price b=0 --currency EUR --feign-parking-brake --rule standby-days=21 \
         --rule feed-returns=chassis --rule feed-system=awg --full --explain x",
    );
    assert!(plan.full && plan.explain);
    let wish = |need: v1::Need, weight| v1::Wish { need: need.into(), weight: Some(weight) };
    let price = |part_id: &str, minor_units| v1::OwnPrice { part_id: part_id.to_owned(), minor_units };
    let ids = |ids: &[&str]| -> Vec<String> { ids.iter().map(|id| (*id).to_owned()).collect() };
    let whole = v1::Order {
        wishes: vec![wish(v1::Need::Steering, 5), wish(v1::Need::Usb, 1), wish(v1::Need::Aux, 0)],
        only_named_wishes: true,
        aim: v1::Aim::LeastBenchTime.into(),
        excluded_part_ids: ids(&["a", "b"]),
        stocked_part_ids: ids(&["c"]),
        in_hand_part_ids: ids(&["d"]),
        consented_losses: vec![v1::Need::HazardSwitch.into(), v1::Need::AirbagLamp.into()],
        own_prices: vec![price("a", 1_590), price("b", 0)],
        currency: "EUR".to_owned(),
        feign_parking_brake: true,
        rules: Some(v1::CheckRules {
            standby_days: Some(21.0),
            feed_returns: v1::FeedReturn::Chassis.into(),
            feed_system: v1::ConductorSystem::Awg.into(),
            ..Default::default()
        }),
    };
    assert_eq!(plan.order.message(), whole);
    let aim = |aim: &str| plan_of(&format!("dashwright plan --radio r --aim {aim} x")).order.message().aim();
    assert_eq!((aim("lowest-price"), aim("fewest-parts")), (v1::Aim::LowestPrice, v1::Aim::FewestParts));
}

#[test]
fn nonsense_in_an_order_is_refused_with_what_would_be_right() {
    let with = |flags: &str| refused(&format!("dashwright plan --radio r x {flags}"));
    let unknown = with("--wish horn");
    assert!(unknown.contains("hazard-switch") && unknown.contains("parking-brake"), "{unknown}");
    assert!(with("--wish unspecified").contains("no need is called so"));
    assert!(with("--consent horn").contains("no need is called so"));
    for weight in ["", "-1", "1.5", "heavy", "4294967296"] {
        assert!(with(&format!("--wish usb={weight}")).contains(&format!("`{weight}` is no weight")));
    }
    assert!(with("--price a --currency EUR").contains("it is not PART=MINOR_UNITS"));
    for amount in ["", "-1", "15.90", "free"] {
        let refused = with(&format!("--price a={amount} --currency EUR"));
        assert!(refused.contains(&format!("`{amount}` is no count of minor units")), "{refused}");
    }
    assert!(with("--price a=1590").contains("--currency <CODE>"));
    assert!(with("--aim cheapest").contains("lowest-price"));
    assert!(with("--rule standby-days").contains("it is not RULE=VALUE"));
    assert!(with("--rule patience=3").contains("button-tolerance-percent"));
    assert!(with("--rule standby-days=long").contains("`long` is no number"));
    assert!(with("--rule feed-system=inch").contains("neither awg nor mm2"));
}

#[test]
fn a_cart_has_lines_or_a_file() {
    let cart = cart_of("dashwright cart 2013 tamsel --radio r --item a --item b:3");
    assert_eq!(cart.items, [("a".to_owned(), 1), ("b".to_owned(), 3)]);
    assert_eq!((cart.radio.as_str(), cart.vehicle.question().words.as_str()), ("r", "2013 tamsel"));
    // A number may have blanks, as the maker prints it.
    let printed = Cli::try_parse_from(["dashwright", "cart", "--item", "WD 80-214: 2"]).unwrap().command;
    let Command::Cart(printed) = printed else { panic!("another command") };
    assert_eq!(printed.items, [("WD 80-214".to_owned(), 2)]);
    assert!(cart_of("dashwright cart --file f.csv").file.is_some());
    assert!(refused("dashwright cart --item a --file f.csv").contains("cannot be used with"));
    for (item, fault) in [
        ("a:0", "`0` is no quantity of at least 1"),
        ("a:-1", "`-1` is no quantity"),
        ("a:abc", "`abc` is no quantity"),
        ("a:1e9", "`1e9` is no quantity"),
        ("a:", "`` is no quantity"),
        (":2", "no item stands before the colon"),
    ] {
        let refused = refused(&format!("dashwright cart --item {item}"));
        assert!(refused.contains(fault), "{item}: {refused}");
    }
}

#[test]
fn vehicles_are_asked_for_a_radio_or_for_a_part() {
    let of = |line: &str| match parse(line).unwrap() {
        Command::Vehicles(vehicles) => (vehicles.part, vehicles.radio, vehicles.only_fitting),
        other => panic!("{other:?}"),
    };
    let some = |text: &str| Some(text.to_owned());
    assert_eq!(of("dashwright vehicles --radio r --only-fitting"), (None, some("r"), true));
    assert_eq!(of("dashwright vehicles --part p --radio r 2013"), (some("p"), some("r"), false));
    assert!(refused("dashwright vehicles 2013").contains("--part <PART>"));
    // What would be ignored is refused.
    assert!(refused("dashwright vehicles --part p --only-fitting").contains("cannot be used with"));
    assert!(refused("dashwright vehicles --part p --aim fewest-parts").contains("cannot be used with"));
}

#[test]
fn a_change_has_a_reason_and_may_repeat_an_earlier_one() {
    let id = "01930000-0000-7000-8000-0000000000ff";
    let line = format!("dashwright draft new --reason why --request-id {id}");
    let Command::Draft(Draft::New(new)) = parse(&line).unwrap() else { panic!("another command") };
    let Changing { reason, request_id } = new.changing;
    assert_eq!((reason.as_str(), request_id.map(|id| id.to_string()).as_deref()), ("why", Some(id)));
    for command in [
        "draft new",
        "draft edit d --delete part/kit-7",
        "draft discard d",
        "draft publish d",
        "outcome accept 7 --draft d",
        "outcome reject 7",
        "key new --holder a --role reader",
        "key revoke k",
    ] {
        let without = refused(&format!("dashwright {command}"));
        assert!(without.contains("--reason"), "{command}: {without}");
        let bad = refused(&format!("dashwright {command} --reason why --request-id 7"));
        assert!(bad.contains("--request-id"), "{command}: {bad}");
        assert!(parse(&format!("dashwright {command} --reason why --request-id {id}")).is_ok(), "{command}");
    }
}

#[test]
fn an_edit_puts_or_deletes_something() {
    assert!(refused("dashwright draft edit d --reason why").contains("--put"));
    let line = "dashwright draft edit d --delete part/a part/b --delete dash/c --put - --reason why";
    let Command::Draft(Draft::Edit(edit)) = parse(line).unwrap() else { panic!("another command") };
    let deleted: Vec<_> = edit.delete.iter().map(ToString::to_string).collect();
    assert_eq!(deleted, ["part/a", "part/b", "dash/c"]);
    assert_eq!(edit.put, Some(PathBuf::from("-")));
    assert!(refused("dashwright draft edit d --delete kit-7 --reason why").contains("part/kit-7"));
}

#[test]
fn a_revision_is_named_by_number_or_token() {
    let Command::Diff(diff) = parse("dashwright diff 3 a1b2").unwrap() else { panic!("another command") };
    assert_eq!(diff.from, WhichRevision::Number(3.try_into().unwrap()));
    assert_eq!(diff.to, Some(WhichRevision::Token("a1b2".to_owned())));
    for bad in ["0", "99999999999999999999999"] {
        assert!(refused(&format!("dashwright diff {bad}")).contains("counts from 1"), "{bad}");
    }
    assert!(refused("dashwright diff").contains("FROM"));
}

#[test]
fn a_time_is_a_day_or_rfc_3339_in_utc() {
    assert_eq!(instant("2026-01-31").as_deref(), Ok("2026-01-31T00:00:00Z"));
    assert_eq!(instant("2026-01-31T18:00:00.5Z").as_deref(), Ok("2026-01-31T18:00:00.5Z"));
    for bad in ["", "2026", "2026-02-30", "2026-01-31T18:00:00", "2026-01-31T18:00:00+02:00", "tomorrow"] {
        assert!(instant(bad).is_err(), "{bad}");
    }
    let line = "dashwright audit list --from 2026-01-31 --to 2026-02-01T01:02:03Z --limit 7";
    let Command::Audit(Audit::List(list)) = parse(line).unwrap() else { panic!("another command") };
    assert_eq!(list.from.as_deref(), Some("2026-01-31T00:00:00Z"));
    assert_eq!((list.to.as_deref(), list.limit.get()), (Some("2026-02-01T01:02:03Z"), 7));
    assert!(refused("dashwright audit list --limit 0").contains("--limit"));
}

#[test]
fn a_proof_is_of_an_entry_or_of_the_trail() {
    for good in ["--entry 3", "--entry 3 --size 9", "--from-size 3", "--from-size 3 --to-size 9"] {
        assert!(parse(&format!("dashwright audit proof {good}")).is_ok(), "{good}");
    }
    for good in ["--checkpoint f", "--checkpoint f --entry 3", "--checkpoint f --to-size 9"] {
        assert!(parse(&format!("dashwright audit proof {good}")).is_ok(), "{good}");
    }
    for bad in [
        "",
        "--size 9",
        "--to-size 9",
        "--entry 0",
        "--entry 3 --from-size 2",
        "--entry 3 --to-size 9",
        "--from-size 3 --size 9",
        "--checkpoint f --from-size 3",
        "--checkpoint f --entry 3 --size 9",
    ] {
        assert!(parse(&format!("dashwright audit proof {bad}")).is_err(), "{bad}");
    }
}

#[test]
fn a_verifier_key_has_the_form_of_one() {
    // The example of the Go package golang.org/x/mod/sumdb/note, from memory.
    let key = "PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW";
    let line = format!("dashwright audit verify d --verifier-key {key}");
    let Command::Audit(Audit::Verify(verify)) = parse(&line).unwrap() else { panic!("another command") };
    assert_eq!(verify.verifier_key.unwrap().to_string(), key);
    assert!(refused("dashwright audit verify d --verifier-key x").contains("verifier key"));
}

#[test]
fn a_key_has_roles() {
    let line = "dashwright key new --holder a --role reader curator --role auditor --reason why";
    let Command::Key(Key::New(new)) = parse(line).unwrap() else { panic!("another command") };
    let roles: Vec<_> = new.role.iter().map(|role| role.message()).collect();
    assert_eq!(roles, [v1::Role::Reader, v1::Role::Curator, v1::Role::Auditor]);
    assert!(refused("dashwright key new --holder a --reason why").contains("--role"));
    let unknown = refused("dashwright key new --holder a --role king --reason why");
    assert!(unknown.contains("operator"), "{unknown}");
}

#[test]
fn a_backup_is_restored_into_a_directory_and_for_a_reason() {
    let line = "dashwright restore b.trail --data d --reason drill --checkpoint c";
    let Command::Restore(restore) = parse(line).unwrap() else { panic!("another command") };
    assert_eq!((restore.file.to_str(), restore.data.to_str()), (Some("b.trail"), Some("d")));
    assert!(refused("dashwright restore b.trail --data d").contains("--reason"));
    assert!(refused("dashwright restore b.trail --reason drill").contains("--data"));
}
