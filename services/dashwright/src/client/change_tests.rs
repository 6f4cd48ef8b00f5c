//! Changes and their repetition.

use super::*;
use crate::client::Refusal;
use crate::failure::Obstacle;

const ID: &str = "01930000-0000-7000-8000-0000000000ff";

fn change(id: &str) -> Change {
    Change::of(Changing { reason: "why".to_owned(), request_id: Some(id.parse().unwrap()) })
}

fn typed(words: &[&str]) -> String {
    repeating(words.iter().map(OsString::from), ID.parse().unwrap())
}

#[test]
fn the_command_that_repeats_a_change_is_what_was_typed_and_the_id() {
    assert_eq!(
        typed(&["dashwright", "draft", "new", "--reason", "it's new; $HOME"]),
        format!(r"dashwright draft new --reason 'it'\''s new; $HOME' --request-id {ID}")
    );
    let named = ["dashwright", "draft", "new", "--reason", "", "--request-id", ID];
    assert_eq!(typed(&named), format!("dashwright draft new --reason '' --request-id {ID}"));
    let equals = format!("--request-id={ID}");
    assert_eq!(typed(&["dashwright", &equals]), format!("dashwright {equals}"));
}

#[test]
fn a_shell_takes_the_quoted_words_for_what_they_are() {
    // POSIX, Shell Command Language 2.2.2: nothing between single quotes is special. Asked of the shell itself.
    for word in ["it's", "a b", "$HOME `x` \\ \"y\"", "", "*", "a\nb", "täg", "--to=x", "!!", "~"] {
        let echoed = std::process::Command::new("sh")
            .args(["-c", &format!("printf %s {}", quoted(word))])
            .output()
            .unwrap();
        assert_eq!(String::from_utf8(echoed.stdout).unwrap(), word);
    }
}

#[test]
fn the_parts_of_a_change_have_ids_of_their_own_which_are_the_same_again() {
    assert_eq!(change(ID).message().unwrap().request_id, ID);
    assert_eq!(change(ID).part(1).request_id, "01930000-0000-7000-8000-000000000100");
    assert_eq!(change(ID).part(1), change(ID).part(1));
    let fresh = Change::of(Changing { reason: String::new(), request_id: None });
    assert_eq!(fresh.id.get_version_num(), 7);
    assert_ne!(fresh.id, Change::of(Changing { reason: String::new(), request_id: None }).id);
}

fn failed(failure: Failure) -> serde_json::Value {
    change(ID).outcome::<()>(Err(failure)).unwrap_err().json()
}

#[test]
fn a_change_whose_answer_was_lost_is_to_be_repeated_and_a_refused_one_is_not() {
    let lost = failed(Failure::Unreachable {
        server: "S".to_owned(),
        obstacle: Obstacle::Nobody,
        source: "gone".into(),
    });
    assert_eq!(lost["error"]["code"], "UNREACHABLE");
    assert_eq!(lost["error"]["request_id"], ID);
    assert_eq!(lost["error"]["may_have_been_made"], true);
    let (next, repeat) = (lost["error"]["next"].as_str().unwrap(), lost["error"]["repeat"].as_str().unwrap());
    assert!(repeat.ends_with(&format!("--request-id {ID}")), "{repeat}");
    assert!(next.contains("may have been made") && next.contains(repeat), "{next}");
    for (code, open) in [("DEADLINE_EXCEEDED", true), ("UNAVAILABLE", true), ("NOT_FOUND", false)] {
        let refusal = Refusal { code: code.to_owned(), message: "m".to_owned(), ..Refusal::default() };
        let refused = failed(Failure::Refused(Box::new(refusal)));
        assert_eq!(refused["error"]["may_have_been_made"], open, "{code}");
        assert_eq!(refused["error"]["code"], code);
        assert_eq!(refused["error"]["message"], "m");
    }
}
