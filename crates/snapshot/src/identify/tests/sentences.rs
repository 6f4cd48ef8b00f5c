//! Free words.

use super::*;

#[test]
fn a_sentence_at_the_counter_names_a_vehicle() {
    check(&[
        ("words=2017 corlan estate with the big speakers", "corlan-estate:A"),
        ("words=big-speakers wagon Corlan, 2017!", "corlan-estate:A"),
        ("words=my orv cv from 2020 sport plus", "corlan-sport:B+A"),
        ("words=belto tesk 300 2020-07", "tesk-late:A"),
        ("words=sport left hand drive", "sport-left:B"),
        ("words=belto sport uk", "sport-right:B"),
        ("words=corlan sport 2019", "corlan-sport:B+A"),
        ("words=corlan 2019 amplified", "corlan-others:A corlan-sport:A"),
        ("words=saloon; model=corlan", "corlan-saloon:B corlan-others:B+A corlan-sport:B+A"),
    ]);
    check_matches(&[
        (
            "words=2017 corlan estate with the big speakers",
            "MODEL_YEAR 2017=2017 Exact; MODEL corlan=Corlan Exact; BODY estate=estate Exact; \
             AUDIO_OPTION big speakers=branded amplified ten-speaker Phrase",
        ),
        (
            "words=2017 corlan amplified in purple",
            "MODEL_YEAR 2017=2017 Exact; MODEL corlan=Corlan Exact; \
             AUDIO_OPTION amplified=branded amplified ten-speaker TitleWord; unmatched purple",
        ),
    ]);
}

#[test]
fn misspelt_words_are_guessed_and_said_so() {
    check_matches(&[
        (
            "words=2017 orvnae corlann esttae with big speekers",
            "MODEL_YEAR 2017=2017 Exact; MAKE orvnae=Orvane Misspelt { similarity: 83 }; \
             MODEL corlann=Corlan Misspelt { similarity: 85 }; \
             AUDIO_OPTION big speekers=branded amplified ten-speaker Misspelt { similarity: 91 }; \
             BODY esttae=estate Misspelt { similarity: 83 }",
        ),
        (
            "words=2015 orvane corlen",
            "MODEL_YEAR 2015=2015 Exact; MAKE orvane=Orvane Exact; MODEL corlen=Corlan Misspelt { similarity: 83 }; \
             MODEL corlen=Corlin Misspelt { similarity: 83 }",
        ),
    ]);
}

#[test]
fn a_number_is_a_year_unless_another_word_is() {
    check(&[
        ("words=belto 2016", "number:B corlex:B sport-left:B sport-right:B"),
        ("words=belto 2016 2018", "number:B"),
        ("words=belto 2016; year=2017", "number:B"),
    ]);
}

#[test]
fn words_that_contradict_show_both_sides() {
    check(&[
        (
            "words=2017 corlan; year=2016",
            "error: the question says model year `2016`, but the free words say model year `2017`",
        ),
        (
            "words=2017 or 2018 corlan",
            "error: the free words say model year `2017`, but the free words say model year `2018`",
        ),
        (
            "words=orvane; make=belto",
            "error: the question says make `belto`, but the free words say make `orvane`",
        ),
        (
            "words=corlin; model=corlan",
            "error: the question says model `corlan`, but the free words say model `corlin`",
        ),
        (
            "words=saloon; model=corlan; body=estate; year=2015",
            "error: the question says body `estate`, but the free words say body `saloon`",
        ),
        (
            "words=orvane tesk 500",
            "error: no vehicle line has both make `orvane` and model `tesk 500`; there are: Abroad, Corlan, Corlin",
        ),
        (
            "words=corlan saloon 2015 big speakers",
            "error: no vehicle line has both body `saloon` and audio option `big speakers` with model `corlan` and model year `2015`; \
             there are: base six-speaker",
        ),
    ]);
}

#[test]
fn what_the_vehicle_is_not_narrows_nothing_and_is_handed_on() {
    check_matches(&[(
        "words=corlan 2017 without the big speakers",
        "MODEL_YEAR 2017=2017 Exact; MODEL corlan=Corlan Exact; unmatched without; unmatched big; unmatched speakers",
    )]);
}

#[test]
fn words_that_all_mean_nothing_are_an_error() {
    let error = catalogue().identify(&ask("words=a purple beltrom")).unwrap_err();
    let IdentifyError::NothingRecognised { words, nearest } = error else { panic!("{error}") };
    assert_eq!(words, ["purple", "beltrom"]);
    // Two slips in seven letters from the one, three in eight from the other.
    assert_eq!(nearest[..2], ["Beltó", "Beltrane"]);
}
