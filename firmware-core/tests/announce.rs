//! Published sentences, and that what is sent reads back as what was meant.

use lubber_core::announce::*;
use lubber_core::frame::ChecksumPolicy;
use lubber_core::frame::Framed;
use lubber_core::frame::Framer;
use lubber_core::frame::Talker;
use lubber_core::sentence;
use lubber_core::sentence::Field;
use lubber_core::sentence::Sentence;
use lubber_core::unit::TimeOfDay;

fn sent(talker: &[u8; 2], announcement: Announcement<'_>) -> Vec<String> {
    let mut sentences = Vec::new();
    announcement.sentences(Talker(*talker), &mut |outgoing| {
        assert!(outgoing.as_bytes().len() <= 82);
        sentences.push(String::from_utf8(outgoing.as_bytes().to_vec()).unwrap());
    });
    sentences
}

/// Reads `text` with our own parser, checksum required; exactly one sentence.
fn read(text: &str, see: impl Fn(&Sentence<'_>)) {
    let mut framer = Framer::new(ChecksumPolicy::Required);
    let mut seen = 0;
    framer.feed(text.as_bytes(), &mut |framed| match framed {
        Framed::Line(line) => {
            let decoded = sentence::decode(&line).unwrap();
            assert_eq!(decoded.unusable, 0, "{text}");
            see(&decoded.sentence);
            seen += 1;
        }
        Framed::Refused(_) => panic!("refused: {text}"),
    });
    assert_eq!(seen, 1, "{text}");
}

const fn clock(ms: u32) -> Option<TimeOfDay> {
    TimeOfDay::from_ms(ms)
}

/// 22:05:16.
const TIME: Option<TimeOfDay> = clock(79_516_000);

#[test]
fn the_published_sentences_to_the_byte() {
    // go-nmea's hbt_test, arc_test, alr_test and alc_test (commit e4d24e3e).
    let beat = Heartbeat { interval_ms: 1500, healthy: true, sequence: 1 };
    assert_eq!(sent(b"HC", Announcement::Heartbeat(beat)), ["$HCHBT,1.5,A,1*23\r\n"]);
    let id = AlertId { manufacturer: "TCK", alert: 2, instance: 1 };
    let refusal = Refusal { time: TIME, id, instance_named: true, command: 'A' };
    assert_eq!(sent(b"RA", Announcement::Refusal(refusal)), ["$RAARC,220516,TCK,002,1,A*73\r\n"]);
    let alarm = AlarmReport { time: TIME, alarm: 1, exceeded: true, acknowledged: true, text: "" };
    assert_eq!(sent(b"RA", Announcement::Alarm(alarm)), ["$RAALR,220516,001,A,A,*53\r\n"]);
    let entries = [(AlertId { manufacturer: "FEB", alert: 1, instance: 2 }, 3)];
    let list = AlertList { total: 2, number: 1, sequence: 3, entries: &entries };
    assert_eq!(sent(b"FB", Announcement::List(list)), ["$FBALC,02,01,03,01,FEB,01,02,03*0A\r\n"]);
}

#[test]
fn the_published_alf_but_for_its_sentence_number() {
    // go-nmea's comment: $VDALF,1,0,1,220516,B,A,S,SAL,001,1,2,0,My alarm*2c. It numbers its first
    // sentence 0, against its own table (1 to 2), and writes its checksum small; ours is 1.
    let report = AlertReport {
        sequence: 1,
        time: TIME,
        priority: PriorityLetter::Alarm,
        state: StateLetter::Silenced,
        id: AlertId { manufacturer: "SAL", alert: 1, instance: 1 },
        revision: 2,
        escalations: 0,
        title: "My alarm",
        text: "",
    };
    // 0x2c with a 0 turned into a 1 is 0x2d.
    assert_eq!(sent(b"VD", Announcement::Alert(report)), ["$VDALF,1,1,1,220516,B,A,S,SAL,001,1,2,0,My alarm*2D\r\n"]);
}

fn report<'a>(title: &'a str, text: &'a str) -> AlertReport<'a> {
    AlertReport {
        sequence: 7,
        time: clock(7_869_300),
        priority: PriorityLetter::Warning,
        state: StateLetter::RectifiedUnacknowledged,
        id: AlertId { manufacturer: "", alert: 9_999_999, instance: 999_999 },
        revision: 99,
        escalations: 9,
        title,
        text,
    }
}

#[test]
fn a_long_title_is_cut_at_16_and_the_text_follows_in_a_second_sentence() {
    let text = "GPRMC makes good 144 T at 5.7 kn: the boat turned 12 to port and HCHDG does not show it";
    let both = sent(b"II", Announcement::Alert(report("heading-disagreement", text)));
    assert_eq!(both.len(), 2);
    read(&both[0], |sentence| {
        let Sentence::Alf(alf) = sentence else { panic!("{sentence:?}") };
        assert_eq!((alf.total, alf.number, alf.sequence), (Field::Known(2), Field::Known(1), Field::Known(7)));
        assert_eq!(alf.time.map(TimeOfDay::as_ms), Field::Known(7_869_300));
        assert_eq!((alf.priority, alf.state), (Field::Known(b'W'), Field::Known(b'U')));
        assert_eq!((alf.alert, alf.instance), (Field::Known(9_999_999), Field::Known(999_999)));
        assert_eq!((alf.revision, alf.escalation), (Field::Known(99), Field::Known(9)));
        assert_eq!(alf.text, b"heading-disagree");
    });
    read(&both[1], |sentence| {
        let Sentence::Alf(alf) = sentence else { panic!("{sentence:?}") };
        assert_eq!((alf.total, alf.number, alf.state), (Field::Known(2), Field::Known(2), Field::Absent));
        assert_eq!((alf.alert, alf.revision), (Field::Known(9_999_999), Field::Known(99)));
        assert!(text.as_bytes().starts_with(alf.text) && alf.text.len() > 30, "{alf:?}");
    });
    assert_eq!(sent(b"II", Announcement::Alert(report("off-heading", ""))).len(), 1);
    let whole = sent(b"II", Announcement::Alert(report("heading-disagreement", "")));
    assert!(whole[1].contains(",heading-disagreement*"), "{whole:?}");
}

#[test]
fn no_text_breaks_the_frame() {
    // Every character of ISO 8859-1 and some beyond, in every place it could be cut at.
    let all: String = (0..=255u8).map(char::from).chain("\u{20ac}\u{1f6a9}".chars()).collect();
    for from in 0..all.chars().count() {
        let text: String = all.chars().skip(from).collect();
        for sentence in sent(b"II", Announcement::Alert(report(&text, &text))) {
            read(&sentence, |sentence| {
                let Sentence::Alf(alf) = sentence else { panic!("{sentence:?}") };
                let plain = |byte: &u8| (0x20..0x7f).contains(byte) && !b"$*,!\\~".contains(byte);
                assert!(alf.text.iter().all(plain), "{alf:?}");
                let escapes: Vec<usize> = (0..alf.text.len()).filter(|&at| alf.text[at] == b'^').collect();
                for at in escapes {
                    let hex = alf.text.get(at + 1..at + 3).expect("no escape is cut in two");
                    assert!(hex.iter().all(u8::is_ascii_hexdigit));
                }
            });
        }
        let alarm = AlarmReport { time: None, alarm: 971, exceeded: false, acknowledged: false, text: &text };
        for sentence in sent(b"\r$", Announcement::Alarm(alarm)) {
            assert!(sentence.starts_with("$XXALR,,971,V,V,"), "{sentence}");
            read(&sentence, |_| {});
        }
    }
}

#[test]
fn a_full_list_and_odd_values_fit() {
    let id = AlertId { manufacturer: "a,b$c", alert: 9_999_999, instance: 999_999 };
    let list = AlertList { total: 255, number: 255, sequence: 255, entries: &[(id, 0); 5] };
    let sentences = sent(b"II", Announcement::List(list));
    read(&sentences[0], |sentence| {
        let Sentence::Alc(alc) = sentence else { panic!("{sentence:?}") };
        // Three of the longest do not fit; two do, and the count says two.
        assert_eq!((alc.count, alc.entries().count()), (Field::Known(2), 2));
        let entry = alc.entries().last().unwrap();
        assert_eq!((entry.name.manufacturer, entry.revision), (&b"ABC"[..], Field::Known(1)));
        assert_eq!((entry.name.alert, entry.name.instance), (Field::Known(9_999_999), Field::Known(999_999)));
    });
    let refusal = Refusal { time: None, id, instance_named: false, command: '*' };
    read(&sent(b"II", Announcement::Refusal(refusal))[0], |sentence| {
        let Sentence::Arc(arc) = sentence else { panic!("{sentence:?}") };
        assert_eq!((arc.time, arc.instance, arc.command), (Field::Absent, Field::Absent, Field::Absent));
    });
    for (interval_ms, text) in [(60_000, "60"), (1_500, "1.5"), (0, "0")] {
        let beat = Heartbeat { interval_ms, healthy: false, sequence: 255 };
        let sentences = sent(b"II", Announcement::Heartbeat(beat));
        assert!(sentences[0].starts_with(&format!("$IIHBT,{text},V,5*")), "{sentences:?}");
        read(&sentences[0], |sentence| {
            let Sentence::Hbt(hbt) = sentence else { panic!("{sentence:?}") };
            assert_eq!(hbt.interval_ms, Field::Known(interval_ms));
        });
    }
}
