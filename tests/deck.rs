//! `deck`: which slides a talk has, what they say, what is too much, and that the page is safe to open.

use crate::example_car;
use crate::support::{Answer, Sandbox};

/// A project with a goal, two events, a budget, a decision, a revision and a result.
const RECORDS: &str = "\
goals:
  top: {title: Score a hundred points, points: 100 pts, reason: It keeps the workshop., lead: team lead}
events:
  sprint:
    title: Sprint
    plan: 60 pts
    most: 100 pts
    lead: dynamics lead
    serves: {top: The cheapest points of all.}
    reads: {time: sprint-time}
    score: {formula: span * best / time, given: {best: 4 s, span: 75 pts}}
  jury: {title: Jury, plan: 40 pts, most: 75 pts, expect: 45 pts ± 5 pts, lead: team lead, serves: {top: Needs two people.}}
systems:
  frame: {title: Frame, in: car, lead: frame lead}
targets:
  sprint-time:
    title: Time of the sprint
    of: car
    at-most: 5.3 s
    formula: base + slope * car-mass
    given: {base: 4.0 s ± 0.1 s, slope: 0.1 s/kg}
    lead: dynamics lead
    serves: {sprint: It is what is timed.}
    verify: {by: test, with: timing gates, due: 2027-06-01}
  car-mass:
    title: Mass of the car
    of: car
    at-most: 12 kg
    total: mass
    reserve: 1 kg
    lead: team lead
    serves: {sprint-time: Each kilogram costs 0.1 s.}
    verify: {by: test, with: scales, due: 2027-06-01}
  frame-mass:
    title: Mass of the frame
    of: frame
    at-most: 11 kg
    total: mass
    share-of: car-mass
    lead: frame lead
    serves: {car-mass: It is the heaviest system.}
    verify: {by: test, with: scales, due: 2027-06-01}
parts:
  tube: {title: Main tube, in: frame, amounts: {mass: 9 kg}, serves: {frame-mass: It carries the wheels.}, verify: {by: inspection, with: gauge, due: 2027-06-01}}
decisions:
  material:
    title: Which material
    of: frame
    serves: {frame-mass: It sets most of the mass.}
    criteria: [frame-mass]
    alternatives:
      steel: {title: Steel, sets: {tube.mass: 9 kg ± 0.1 kg}}
      lead: {title: Lead, sets: {tube.mass: 11 kg ± 0.1 kg}}
    chosen: steel
    reason: We can weld it.
revisions:
  mass-march: {of: car-mass, from: 11 kg, to: 12 kg, date: 2027-03-01, agreed-by: chief engineer, reason: The jury asked for a seat.}
results:
  tube-gauge: {of: tube, outcome: pass, date: 2027-03-10, notes: The gauge fits.}
";

const SETTINGS: &str = "season: 2027\nas-of: 2027-03-19\nhistory: off\n";

fn project(deck: &str) -> Sandbox {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", format!("{SETTINGS}{deck}"));
    sandbox.write("car.yaml", RECORDS);
    sandbox
}

fn deck(sandbox: &Sandbox, args: &[&str]) -> Answer {
    sandbox.tierod(&[&["deck"], args].concat())
}

/// A slide of a page.
#[derive(Debug)]
struct Slide {
    id: String,
    phrase: String,
    notes: String,
    html: String,
}

/// The text of HTML: without tags, and with the characters that are escaped.
fn text(html: &str) -> String {
    let mut out = String::new();
    let mut is_tag = false;
    for c in html.chars() {
        match c {
            '<' => is_tag = true,
            '>' => is_tag = false,
            c if !is_tag => out.push(c),
            _ => {}
        }
    }
    for (name, c) in [("&lt;", "<"), ("&gt;", ">"), ("&quot;", "\""), ("&#x27;", "'"), ("&#39;", "'"), ("&#x2f;", "/")]
    {
        out = out.replace(name, c);
    }
    out.replace("&amp;", "&")
}

fn between<'t>(html: &'t str, from: &str, to: &str) -> &'t str {
    html.split_once(from).and_then(|(_, rest)| rest.split_once(to)).map_or("", |(inside, _)| inside)
}

fn slides(page: &str) -> Vec<Slide> {
    let sections = page.split("<section class=\"slide\" id=\"").skip(1);
    let slide = |html: &str| {
        let html = html.split_once("</section>").unwrap().0;
        Slide {
            id: html.split_once('"').unwrap().0.to_owned(),
            phrase: text(between(html, "</span>", "</h2>")),
            notes: text(between(html, "<aside", "</aside>").split_once('>').unwrap().1),
            html: html.to_owned(),
        }
    };
    sections.map(slide).collect()
}

fn ids(page: &str) -> Vec<String> {
    slides(page).into_iter().map(|slide| slide.id).collect()
}

fn words(text: &str) -> usize {
    text.split_whitespace().filter(|word| word.chars().any(char::is_alphanumeric)).count()
}

/// The lines of the report, without the spaces that align them.
fn lines(report: &str) -> Vec<String> {
    report.lines().map(|line| line.split_whitespace().collect::<Vec<_>>().join(" ")).collect()
}

#[test]
fn a_talk_has_at_most_twelve_slides_with_short_phrases_for_each_audience() {
    let sandbox = Sandbox::new();
    let folder = example_car::folder();
    for people in ["", "judges", "sponsors", "newcomers"] {
        let mut args = vec!["deck", "--minutes", "10"];
        if !people.is_empty() {
            args.extend(["--for", people]);
        }
        let answer = sandbox.tierod_in(&folder, &args).ended(0);
        let all = slides(&answer.out);
        assert!((8..=12).contains(&all.len()), "{people}: {} slides", all.len());
        for slide in &all {
            assert!((1..=12).contains(&words(&slide.phrase)), "{people}: {}", slide.phrase);
            assert!(words(&slide.notes) > 10, "{people}, {}: {}", slide.id, slide.notes);
        }
        let has = |id: &str| all.iter().any(|slide| slide.id == id);
        assert!(has("goal") && has("plan") && has("car") && has("verification") && has("learned"), "{people}");
        assert_eq!(has("traded"), people == "judges", "{people}: what was traded is for judges");
        assert_eq!(has("money"), people == "sponsors", "{people}: what money buys is for sponsors");
        assert_eq!(has("scored"), people != "judges", "{people}: judges know how a car is scored");
        let decisions = ["engine", "tyre-size", "aero-package"];
        assert!(decisions[..2].iter().all(|id| has(id)), "{people}: those that changed the most points");
        assert!(!has("battery-type") && !has("attenuator-type"), "{people}: these moved fewer");
        assert!(answer.err.contains("words a minute (at most 140)"), "{}", answer.err);
    }
}

/// What the tool says itself is never too much, whenever in the season a talk is made.
#[test]
fn the_talks_of_the_example_season_have_nothing_to_cut() {
    let sandbox = Sandbox::new();
    sandbox.tierod(&["example", "season"]).ended(0);
    let season = sandbox.path_of("season");
    for day in ["2026-12-20", "2027-03-01", "2027-04-20", "2027-05-20", "2027-07-30"] {
        let rev = sandbox.git_in(&season, &["rev-list", "-1", &format!("--before={day}"), "HEAD"]);
        for people in ["judges", "sponsors", "newcomers"] {
            let answer = sandbox.tierod_in(&season, &["deck", "--for", people, "--rev", rev.trim()]).ended(0);
            assert!(lines(&answer.err).contains(&"cut nothing".to_owned()), "{day}, {people}: {}", answer.err);
        }
    }
}

/// Long titles leave room for fewer values on the slide of what changes the points.
#[test]
fn a_picture_with_long_titles_has_fewer_rows() {
    let long = "Time of the sprint as the timing gates of the contest measure it";
    let sandbox = project("");
    let more: String = (0..6)
        .map(|at| format!("  part-time-{at}: {{title: {long} {at}, of: car, at-most: 2 s, estimate: 1 s ± 0.1 s, lead: x, serves: {{sprint-time: It is a part of it.}}}}\n"))
        .collect();
    let sum: String = (0..6).map(|at| format!(" + 0.1 * part-time-{at}")).collect();
    let records = RECORDS.replace("base + slope * car-mass", &format!("base + slope * car-mass{sum}"));
    sandbox.write("car.yaml", records.replace("parts:\n", &format!("{more}parts:\n")));
    let answer = deck(&sandbox, &["--for", "judges"]).ended(0);
    let slide = slides(&answer.out).into_iter().find(|slide| slide.id == "levers").expect("it has values");
    assert!(slide.html.contains("as the timing gates"), "{}", slide.html);
    assert!(!answer.err.contains("(levers), phrase and picture"), "{}", answer.err);
}

#[test]
fn the_minutes_choose_the_slides_and_the_report_says_what_is_left_out() {
    let sandbox = project("");
    let ten = deck(&sandbox, &[]).ended(0);
    assert_eq!(
        ids(&ten.out),
        ["goal", "scored", "plan", "chain", "car", "car-mass", "material", "verification"],
        "{}",
        ten.err
    );
    assert!(lines(&ten.err).contains(&"omitted learned: no estimate has a result yet".to_owned()), "{}", ten.err);
    for (minutes, most) in [("5", 6), ("3", 3), ("1", 1)] {
        let answer = deck(&sandbox, &["--minutes", minutes]).ended(0);
        let kept = ids(&answer.out);
        assert_eq!(kept.len(), most, "{minutes} minutes: {kept:?}");
        assert_eq!(kept[0], "goal");
        let left = lines(&answer.err).into_iter().filter(|line| line.contains("no time")).count();
        assert_eq!(left + most, ids(&ten.out).len(), "{minutes}: {}", answer.err);
        let slides = if most == 1 { "slide" } else { "slides" };
        assert!(
            answer.err.contains(&format!("no time: at most {most} {slides} in {minutes} minute")),
            "{}",
            answer.err
        );
    }
    for wrong in ["0", "121", "x"] {
        deck(&sandbox, &["--minutes", wrong]).ended(2);
    }
    let judges = deck(&sandbox, &["--for", "judges"]).ended(0);
    let traded = slides(&judges.out).into_iter().find(|slide| slide.id == "traded").expect("it is for judges");
    assert_eq!(traded.phrase, "1 limit changed, agreed and with a reason");
    assert!(traded.notes.contains("The jury asked for a seat") && traded.notes.contains("chief engineer"));
    assert!(text(&traded.html).contains("11\u{202f}kg") && text(&traded.html).contains("12\u{202f}kg"));
}

#[test]
fn what_is_too_much_is_reported_with_slide_and_place() {
    let long = "word ".repeat(300);
    let sandbox = project(&format!(
        "deck:\n  order: [us]\n  slides:\n    us: {{phrase: one two three four five six seven eight nine ten eleven twelve thirteen, notes: {long}}}\n    plan: {{phrase: 1 and 2 and 3 and 4 and 5 for the CG}}\n"
    ));
    let report = lines(&deck(&sandbox, &[]).ended(0).err);
    for line in [
        "cut slide 1 (us), phrase: 13 words, at most 12: cut 1",
        "cut slide 1 (us), notes: 313 words, at most 280: cut 33",
        "phrase: 5 numbers, at most 4: cut 1",
        "phrase: `CG` is never spelled out: write it in full, or add it to `deck: abbreviations:`",
    ] {
        assert!(report.join(" ").contains(line), "{line}\n{}", report.join("\n"));
    }
    // The words of one slide can take the time of the others.
    let short = deck(&sandbox, &["--minutes", "2"]).ended(0);
    assert_eq!(ids(&short.out), ["us"]);
    assert!(short.err.contains("goal: no time: at most 280 words can be spoken in 2 minutes"), "{}", short.err);
    let spelled =
        project("deck:\n  slides: {plan: {phrase: The CG is low}}\n  abbreviations: {CG: centre of gravity}\n");
    let answer = deck(&spelled, &[]).ended(0);
    assert!(lines(&answer.err).contains(&"cut nothing".to_owned()), "{}", answer.err);
    let plan = slides(&answer.out).into_iter().find(|slide| slide.id == "plan").unwrap();
    assert!(text(&plan.html).contains("CG: centre of gravity"), "it is shown where it is used first");
}

/// A picture of one pixel: grey, 8 bits (ISO/IEC 15948, 11.2.2).
fn png() -> Vec<u8> {
    let mut bytes = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\x01\0\0\0\x01\x08\0\0\0\0".to_vec();
    bytes.extend(b"\x3a\x7e\x9b\x55\0\0\0\nIDATx\x9cc`\0\0\0\x02\0\x01\x48\xaf\xa4\x71\0\0\0\0IEND\xae\x42\x60\x82");
    bytes
}

#[test]
fn a_team_changes_words_and_order_and_adds_slides() {
    let own = "deck:\n  order: [material, us, goal]\n  drop: [chain]\n  slides:\n    us: {phrase: These are we, picture: a/us.png, alt: Nine people}\n    goal: {phrase: A hundred points, notes: \"One.\\n\\nTwo.\"}\n    thanks: {phrase: Thank you, for: [sponsors]}\n";
    let sandbox = project(own);
    sandbox.write("a/us.png", png());
    let page = deck(&sandbox, &[]).ended(0).out;
    let all = slides(&page);
    assert_eq!(
        all.iter().map(|slide| slide.id.as_str()).take(4).collect::<Vec<_>>(),
        ["material", "us", "goal", "scored"]
    );
    assert!(all.iter().all(|slide| slide.id != "chain" && slide.id != "thanks"), "dropped, and for others");
    let goal = &all[2];
    assert_eq!(goal.phrase, "A hundred points");
    assert!(goal.notes.contains("One.") && goal.notes.contains("Two.") && !goal.notes.contains("workshop"));
    let us = &all[1];
    assert!(
        us.html.contains("<img src=\"data:image/png;base64,iVBORw0KGgo") && us.html.contains("alt=\"Nine people\"")
    );
    assert_eq!(ids(&deck(&sandbox, &["--for", "sponsors"]).ended(0).out).last().unwrap(), "thanks");
    // As in a revision: the picture comes from it, not from the folder.
    let sandbox = Sandbox::repository();
    sandbox.write("tierod.yaml", format!("{SETTINGS}{own}"));
    sandbox.write("car.yaml", RECORDS);
    sandbox.write("a/us.png", png());
    sandbox.commit_on("2027-03-18", "first");
    std::fs::remove_file(sandbox.path_of("a/us.png")).unwrap();
    deck(&sandbox, &[]).ended(2);
    let committed = deck(&sandbox, &["--rev", "HEAD"]).ended(0).out;
    assert!(committed.contains("data:image/png;base64,iVBORw0KGgo"));
    let commit = sandbox.git(&["rev-parse", "HEAD"]);
    assert!(committed.contains(&format!("19 March 2027, commit {}", &commit[..10])), "it says what it shows");
}

#[test]
fn wrong_settings_are_refused_with_line_and_column() {
    for (own, place, message, help) in [
        ("deck:\n  order: [gaol]\n", "tierod.yaml:5:11", "unknown slide `gaol`", "did you mean `goal`?"),
        ("deck:\n  drop: [nothing-like-it]\n", "tierod.yaml:5:10", "unknown slide", "add the slide under `slides`"),
        ("deck:\n  slides:\n    us: {notes: x}\n", "tierod.yaml:6:5", "the slide `us` has no phrase", "add `phrase:`"),
        (
            "deck:\n  slides:\n    us: {phrase: x, picture: us.svg, alt: us}\n",
            "tierod.yaml:6:30",
            "`us.svg` is not a picture",
            "`.png`",
        ),
        (
            "deck:\n  slides:\n    us: {phrase: x, picture: us.png, alt: us}\n",
            "tierod.yaml:6:30",
            "cannot show `us.png`: no such file",
            "`.png`",
        ),
        (
            "deck:\n  slides:\n    us: {phrase: x, picture: ../us.png, alt: us}\n",
            "tierod.yaml:6:30",
            "is not a path in the project",
            "below",
        ),
        ("deck:\n  oder: [goal]\n", "tierod.yaml:5:3", "unknown key `oder`", "did you mean `order`?"),
    ] {
        let answer = deck(&project(own), &["--output", "talk.html"]).ended(2);
        for part in [place, message, help, "1 error under `deck` in tierod.yaml"] {
            assert!(answer.err.contains(part), "{own}: {part}\n{}", answer.err);
        }
        assert!(answer.out.is_empty(), "nothing is written");
    }
    let check = project("deck:\n  order: [gaol]\n").tierod(&["check", "--format", "lines"]);
    assert!(check.out.contains("tierod.yaml:5:11: error: unknown slide `gaol`"), "{}", check.out);
}

#[test]
fn only_pictures_are_embedded_and_no_link_is_followed() {
    let own = "deck:\n  slides:\n    us: {phrase: x, picture: us.png, alt: us}\n";
    let refused = |sandbox: &Sandbox, why: &str| {
        let answer = deck(sandbox, &[]).ended(2);
        assert!(answer.err.contains(why) && answer.out.is_empty(), "{why}: {}", answer.err);
    };
    let sandbox = project(own);
    sandbox.write("us.png", "<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>");
    refused(&sandbox, "its bytes are neither those of a PNG nor of a JPEG file");
    sandbox.write("us.png", b"");
    refused(&sandbox, "neither");
    let mut huge = png();
    huge[16..20].copy_from_slice(&100_000_u32.to_be_bytes());
    sandbox.write("us.png", &huge);
    refused(&sandbox, "100000 × 1 pixels");
    let mut large = png();
    large.resize((4 << 20) + 1, 0);
    sandbox.write("us.png", &large);
    refused(&sandbox, "the limit is 4 MiB");
    #[cfg(unix)]
    {
        std::fs::remove_file(sandbox.path_of("us.png")).unwrap();
        std::fs::write(sandbox.outside().join("secret.png"), png()).unwrap();
        std::os::unix::fs::symlink(sandbox.outside().join("secret.png"), sandbox.path_of("us.png")).unwrap();
        refused(&sandbox, "link");
        std::fs::remove_file(sandbox.path_of("us.png")).unwrap();
        std::fs::create_dir(sandbox.path_of("us.png")).unwrap();
        refused(&sandbox, "not a regular file");
    }
}

#[test]
fn hostile_titles_stay_text_and_nothing_is_requested() {
    let hostile =
        "</script><script>alert(1)</script><img src=x onerror=alert(2)>\\\"'{{ 1 }}\\u202e ![x](https://example.org/x)";
    let sandbox = project(&format!(
        "deck:\n  slides:\n    us: {{phrase: \"{hostile}\", notes: \"{hostile}\"}}\n  abbreviations: {{CG: \"{}\"}}\n",
        "<b onclick=x>"
    ));
    let hostile_record = format!("\"{hostile}\"");
    let records = RECORDS.replace("Score a hundred points", &hostile_record).replace("Main tube", &hostile_record);
    let records =
        records.replace("Which material", &hostile_record).replace("title: Steel", &format!("title: {hostile_record}"));
    sandbox.write("car.yaml", records.replace("We can weld it.", &hostile_record));
    let page = deck(&sandbox, &[]).ended(0).out;
    assert_eq!(page.matches("<script>").count(), 1, "only our own");
    assert_eq!(page.matches("</script>").count(), 1);
    assert!(!page.contains("<img src=x") && !page.contains("<b onclick") && !page.contains('\u{202e}'));
    assert!(page.contains("{{ 1 }}"), "no text is a template");
    assert!(
        slides(&page).iter().any(|slide| slide.phrase.contains("<script>alert(1)</script>")),
        "it is shown as text"
    );
    let style = page.split_once("<style>").unwrap().1;
    let policy = between(&page, "Content-Security-Policy\" content=\"", "\"");
    assert!(policy.starts_with("default-src 'none'") && policy.contains("script-src 'sha256-"), "{policy}");
    for loads in ["@import", "url(http", "src=\"http", "<link", "fetch(", "XMLHttpRequest", "href=\"http"] {
        assert!(!style.contains(loads), "{loads}");
    }
}

#[test]
fn the_same_records_give_the_same_bytes_and_only_a_talk_is_replaced() {
    let sandbox = project("");
    let first = deck(&sandbox, &["--output", "talk.html"]).ended(0);
    assert!(first.out.contains("wrote talk.html") && first.err.is_empty(), "{}", first.err);
    let bytes = std::fs::read(sandbox.path_of("talk.html")).unwrap();
    deck(&sandbox, &["--output", "talk.html"]).ended(0);
    assert_eq!(std::fs::read(sandbox.path_of("talk.html")).unwrap(), bytes);
    assert_eq!(deck(&sandbox, &[]).ended(0).out.as_bytes(), bytes, "printed or written");
    deck(&sandbox, &["--output", "talk.html", "--minutes", "3"]).ended(0);
    assert_ne!(std::fs::read(sandbox.path_of("talk.html")).unwrap(), bytes, "an earlier talk is replaced");
    let error = deck(&sandbox, &["--output", "car.yaml"]).ended(2).err;
    assert!(error.contains("car.yaml already exists"), "{error}");
    assert_eq!(std::fs::read_to_string(sandbox.path_of("car.yaml")).unwrap(), RECORDS);
}

#[test]
fn what_is_broken_comes_first() {
    let none = Sandbox::new();
    none.write("tierod.yaml", SETTINGS);
    none.write("car.yaml", "systems: {frame: {in: car}}\n");
    let error = deck(&none, &[]).ended(2);
    assert!(error.err.contains("the project has no goal") && error.out.is_empty(), "{}", error.err);
    let sandbox = project("");
    sandbox.write("car.yaml", RECORDS.replace("base + slope * car-mass", "base + slope * car-mas"));
    let answer = deck(&sandbox, &[]).ended(2);
    assert!(answer.err.trim_start().starts_with("1 error") && answer.err.contains("car-mas"), "{}", answer.err);
    let before = answer.out.split_once("<main>").unwrap().0;
    assert!(text(before).contains("Numbers are missing or wrong"), "the page says it before the first slide");
}

#[test]
fn without_script_every_slide_is_there_with_its_notes() {
    let page = deck(&project(""), &[]).ended(0).out;
    let body = page.split_once("<script>").unwrap().0;
    let all = slides(body);
    assert!(all.len() >= 8);
    for slide in &all {
        assert!(!slide.html.contains(" hidden"), "{}", slide.id);
        assert!(body.contains(&format!("<a href=\"#{}\"", slide.id)), "a link leads to {}", slide.id);
    }
    assert!(text(body).contains("The cheapest points of all."), "the notes have the reasons");
    assert!(body.contains("<h1>Score a hundred points</h1>"));
}

#[test]
fn a_decision_that_is_a_slide_is_renamed() {
    let sandbox = project("deck:\n  order: [goal, material]\n  slides:\n    material: {phrase: We chose steel}\n");
    sandbox.tierod(&["rename", "material", "tube-material"]).ended(0);
    let settings = std::fs::read_to_string(sandbox.path_of("tierod.yaml")).unwrap();
    assert!(
        settings.contains("order: [goal, tube-material]") && settings.contains("    tube-material: {phrase"),
        "{settings}"
    );
    assert_eq!(slides(&deck(&sandbox, &[]).ended(0).out)[1].phrase, "We chose steel");
}

/// What an interval is has the same words on every slide, and the picture of the money is of what its phrase says.
#[test]
fn a_talk_has_one_wording_for_what_may_happen() {
    let sandbox = Sandbox::new();
    let folder = example_car::folder();
    for people in ["judges", "sponsors", "newcomers"] {
        let answer = sandbox.tierod_in(&folder, &["deck", "--for", people]).ended(0);
        for words in ["k = 2", "uncertainty (95 %)", "of what may happen"] {
            assert!(!answer.out.contains(words), "{people}: {words}");
        }
        assert!(answer.out.contains("likely range (95 %)"), "{people}");
        for slide in slides(&answer.out) {
            assert!(slide.id != "levers" || !slide.phrase.contains('…'), "{}", slide.phrase);
            if slide.id == "money" {
                let section = slide.phrase.rsplit_once(" into ").unwrap().1;
                assert!(
                    slide.html.contains("What each section costs") && slide.html.matches(section).count() > 2,
                    "{}",
                    slide.html
                );
            }
        }
    }
}

#[test]
fn the_keys_of_a_slide_are_explained() {
    let out = Sandbox::new().tierod(&["explain", "deck"]).ended(0).out;
    for key in ["`phrase`", "`notes`", "`picture`", "`alt`", "`for`"] {
        assert!(out.contains(key), "{key}: {out}");
    }
}
