//! Text output: colour as a second signal, aligned columns, wrapped lines, harmless output of hostile text.

use std::borrow::Cow;
use std::fmt::Write as _;
use std::io::{ErrorKind, IsTerminal, Write};
use std::time::{Duration, Instant};

use anstyle::{AnsiColor, Style};
use schema::settings::Level;
pub(crate) use schema::words::shell_word as word;
use unicode_width::UnicodeWidthChar;

use crate::args::{Color, Shared};

/// Writes the output to stdout; a reader that closes the pipe early is not an error.
///
/// Every output passes here. What a format has not cleaned itself is cleaned now; `commands` says whether the lines may be
/// commands to the runner of a CI.
pub(crate) fn print(text: &str, commands: bool, shared: &Shared) -> std::io::Result<()> {
    let colored = wants_color(shared.color, std::io::stdout().is_terminal());
    let text = harmless(text, colored, commands);
    let mut out = std::io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() == ErrorKind::BrokenPipe => Ok(()),
        result => result,
    }
}

/// Prints an error to stderr: error, cause, fix.
pub(crate) fn print_error(error: &trace::Error, shared: &Shared) {
    let ink = Ink::stderr(shared);
    let room = ink.columns().min(ERROR_WIDTH) - 7;
    // Lines in a file or a pipe are not broken, so that commands in them can be copied.
    let lines = |text: &str| if ink.terminal { wrap(text, room) } else { vec![clean(text)] };
    let mut text = String::new();
    let mut add = |label: String, content: &str| {
        for (number, line) in lines(content).iter().enumerate() {
            let _ = writeln!(text, "{}  {line}", if number == 0 { &label } else { "     " });
        }
    };
    add(ink.level(Level::Error), &error.message);
    for (label, content) in [("cause", &error.cause), ("fix", &error.help)] {
        if let Some(content) = content {
            add(ink.faint(&format!("{label:>5}")), content);
        }
    }
    let _ = std::io::stderr().lock().write_all(harmless(&text, ink.on, false).as_bytes());
}

/// Prints an error of the command line to stderr without colour if something in it is not harmless; returns whether it was
/// printed.
pub(crate) fn print_usage(text: &str) -> bool {
    let harmless = harmless(text, false, false);
    let is_changed = harmless != text;
    if is_changed {
        let _ = std::io::stderr().lock().write_all(harmless.as_bytes());
    }
    is_changed
}

/// Prints what is beside an output to stderr.
pub(crate) fn print_beside(text: &str, shared: &Shared) {
    let colored = wants_color(shared.color, std::io::stderr().is_terminal());
    let _ = std::io::stderr().lock().write_all(harmless(text, colored, false).as_bytes());
}

/// The largest width of error messages on a terminal.
const ERROR_WIDTH: usize = 80;

fn wants_color(color: Color, terminal: bool) -> bool {
    match color {
        Color::Always => true,
        Color::Never => false,
        Color::Auto => terminal && std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty()),
    }
}

/// A progress bar on stderr for work that takes longer than a second; not drawn if stderr is not a terminal.
pub(crate) struct Progress {
    since: Instant,
    terminal: bool,
    drawn: bool,
}

impl Progress {
    /// A bar that is not drawn yet.
    pub(crate) fn new() -> Self {
        Self { since: Instant::now(), terminal: std::io::stderr().is_terminal(), drawn: false }
    }

    /// Draws the bar: `done` of `all` commits are evaluated.
    pub(crate) fn tick(&mut self, done: usize, all: usize) {
        const WIDTH: usize = 30;
        if !self.terminal || self.since.elapsed() < Duration::from_secs(1) {
            return;
        }
        let full = WIDTH * done / all.max(1);
        let bar = format!("\r{}{} {done} of {all} commits", "━".repeat(full), "┄".repeat(WIDTH - full));
        let _ = std::io::stderr().lock().write_all(bar.as_bytes());
        self.drawn = true;
    }
}

impl Drop for Progress {
    /// Clears the line.
    fn drop(&mut self) {
        if self.drawn {
            let _ = std::io::stderr().lock().write_all(b"\r\x1b[K");
        }
    }
}

/// Whether a character shows another text than is there: control characters (C0, C1), marks that change the direction of
/// writing (UAX #9), line separators, and characters without a width that join, hide or tag others.
pub(crate) fn is_hostile(c: char) -> bool {
    if c.is_ascii() {
        return c.is_ascii_control();
    }
    let marks = matches!(c, '\u{2028}' | '\u{2029}' | '\u{202a}'..='\u{202e}' | '\u{fff9}'..='\u{fffb}');
    c.is_control() || marks || is_unseen(c)
}

/// Whether a character is not shown at all: those that Unicode has as `Default_Ignorable_Code_Point` (Unicode 16.0,
/// `DerivedCoreProperties.txt`; not checked against the file), which can carry a sentence that only a program reads, what places
/// hieroglyphs, and the code points that are no characters. The two selectors that choose between an emoji and a sign pass.
fn is_unseen(c: char) -> bool {
    matches!(
        c,
        '\u{00ad}' | '\u{034f}' | '\u{061c}' | '\u{115f}' | '\u{1160}' | '\u{17b4}' | '\u{17b5}' | '\u{180b}'
            ..='\u{180f}'
    ) || matches!(c, '\u{200b}'..='\u{200f}' | '\u{2060}'..='\u{206f}' | '\u{3164}' | '\u{fe00}'..='\u{fe0d}' | '\u{feff}' | '\u{ffa0}')
        || matches!(c, '\u{13430}'..='\u{1343f}' | '\u{fdd0}'..='\u{fdef}')
        || c as u32 & 0xfffe == 0xfffe
        || matches!(c, '\u{fff0}'..='\u{fff8}' | '\u{1bca0}'..='\u{1bca3}' | '\u{1d173}'..='\u{1d17a}' | '\u{e0000}'..='\u{e0fff}')
}

/// Whether a text has only printable characters of ASCII, which most texts have: none of them is hostile.
fn is_printable_ascii(text: &str) -> bool {
    text.bytes().all(|byte| matches!(byte, b' '..=b'~'))
}

/// Whether a text begins a command to the runner of a CI anywhere.
fn has_runner(text: &str) -> bool {
    text.contains("##") && RUNNERS.iter().any(|start| text.contains(start))
}

/// The text without hostile characters, so that no title can move the cursor or hide a line.
pub(crate) fn clean(text: &str) -> String {
    if is_printable_ascii(text) {
        return text.to_owned();
    }
    let shown = |c: char| match c {
        '\n' | '\t' => ' ',
        c if is_hostile(c) => '\u{fffd}',
        c => c,
    };
    text.chars().map(shown).collect()
}

/// The characters of JSON text that are hostile, as escapes: the data stays what it was.
pub(crate) fn escaped_json(text: String) -> String {
    let hostile = |c: char| c != '\n' && is_hostile(c);
    if (text.split('\n').all(is_printable_ascii) || !text.chars().any(hostile)) && !has_runner(&text) {
        return text;
    }
    let mut out = String::with_capacity(text.len() + 64);
    for c in text.chars() {
        if hostile(c) {
            let mut units = [0; 2];
            for unit in c.encode_utf16(&mut units) {
                let _ = write!(out, "\\u{unit:04x}");
            }
        } else {
            out.push(c);
        }
    }
    RUNNERS.iter().fold(out, |out, start| out.replace(start, &format!("\\u0023{}", &start[1..])))
}

/// What begins a command to the runner of a CI anywhere in a line; all of them begin with `##`.
const RUNNERS: [&str; 3] = ["##[", "##vso[", "##teamcity["];

/// A whole output without hostile characters; the sequences of our own colours stay.
fn harmless(text: &str, colored: bool, commands: bool) -> Cow<'_, str> {
    let is_plain = |c: char| matches!(c, '\n' | '\t') || !is_hostile(c);
    let begins_command = |line: &str| line.trim_start().starts_with("::");
    let is_plain = text.bytes().all(|byte| matches!(byte, b' '..=b'~' | b'\n' | b'\t')) || text.chars().all(is_plain);
    let has_command = || text.contains("::") && text.lines().any(begins_command);
    if is_plain && (commands || !has_command()) && !has_runner(text) {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len());
    for line in text.split_inclusive('\n') {
        // A runner reads a line that begins like this as a command, also after spaces.
        let start = line.len() - line.trim_start().len();
        let command = !commands && line[start..].strip_prefix("::").is_some_and(|rest| rest.contains("::"));
        let mut rest = if command {
            out.push_str(&line[..start]);
            out.push_str(": :");
            &line[start + 2..]
        } else {
            line
        };
        while let Some(at) = rest.find(|c: char| is_hostile(c) && !matches!(c, '\n' | '\t')) {
            let (plain, from) = rest.split_at(at);
            out.push_str(plain);
            let length = if from == "\r\n" {
                from.len()
            } else if colored {
                color_length(from)
            } else {
                0
            };
            out.push_str(&from[..length]);
            rest = &from[length..];
            if length == 0 {
                out.push('\u{fffd}');
                rest = rest.char_indices().nth(1).map_or("", |(next, _)| &rest[next..]);
            }
        }
        out.push_str(rest);
    }
    for start in RUNNERS.iter().filter(|start| text.contains(**start)) {
        out = out.replace(start, &format!("# {}", &start[1..]));
    }
    Cow::Owned(out)
}

/// The length of a sequence that only sets colours, at the beginning of a text; 0 if there is none.
fn color_length(text: &str) -> usize {
    let end = text.strip_prefix("\u{1b}[").and_then(|rest| rest.find(|c: char| !c.is_ascii_digit() && c != ';'));
    end.filter(|end| text[2 + end..].starts_with('m')).map_or(0, |end| end + 3)
}

/// The width of a text on a terminal.
pub(crate) fn width(text: &str) -> usize {
    if is_printable_ascii(text) {
        return text.len();
    }
    text.chars().map(|c| c.width().unwrap_or(0)).sum()
}

/// Paints and wraps text for one stream.
#[derive(Clone, Copy)]
pub(crate) struct Ink {
    on: bool,
    width: usize,
    /// The width of the terminal; `None` without one.
    room: Option<usize>,
    terminal: bool,
}

impl Ink {
    /// For stdout.
    pub(crate) fn stdout(shared: &Shared) -> Self {
        let terminal = std::io::stdout().is_terminal();
        let room = terminal_size::terminal_size().map(|(width, _)| usize::from(width.0)).filter(|_| terminal);
        let width = room.map_or(100, |room| room.clamp(40, 120));
        Self { on: wants_color(shared.color, terminal), width, room, terminal }
    }

    /// For standard error.
    pub(crate) fn stderr(shared: &Shared) -> Self {
        let terminal = std::io::stderr().is_terminal();
        let room = terminal_size::terminal_size_of(std::io::stderr()).map(|(width, _)| usize::from(width.0));
        let room = room.filter(|_| terminal);
        let width = room.map_or(100, |room| room.clamp(40, 120));
        Self { on: wants_color(shared.color, terminal), width, room, terminal }
    }

    /// Whether a person reads the output on a screen.
    pub(crate) fn is_terminal(self) -> bool {
        self.terminal
    }

    /// The largest width of a table; not limited in a file or a pipe.
    pub(crate) fn room(self) -> usize {
        self.room.unwrap_or(usize::MAX)
    }

    /// The width of prose: that of the terminal, up to 120 columns.
    pub(crate) fn columns(self) -> usize {
        self.width
    }

    /// For a terminal of this width, without colour.
    #[cfg(test)]
    pub(crate) fn plain(room: usize) -> Self {
        Self { on: false, width: room, room: Some(room), terminal: true }
    }

    fn paint(self, style: Style, text: &str) -> String {
        if self.on { format!("{style}{text}{style:#}") } else { text.to_owned() }
    }

    /// Bold text.
    pub(crate) fn strong(self, text: &str) -> String {
        self.paint(Style::new().bold(), text)
    }

    /// Faint text.
    pub(crate) fn faint(self, text: &str) -> String {
        self.paint(Style::new().dimmed(), text)
    }

    /// The word of a level, painted.
    pub(crate) fn level(self, level: Level) -> String {
        self.on_level(level, level.word())
    }

    /// A text, painted as a level.
    pub(crate) fn on_level(self, level: Level, text: &str) -> String {
        let color = match level {
            Level::Error => AnsiColor::Red,
            Level::Warning => AnsiColor::Yellow,
            Level::Note | Level::Off => AnsiColor::Cyan,
        };
        self.paint(Style::new().bold().fg_color(Some(color.into())), text)
    }

    /// Adds a text after a label, wrapped to the width; the label is right-aligned to `column`.
    pub(crate) fn block(self, out: &mut String, label: &str, column: usize, text: &str) {
        let room = self.width.saturating_sub(column + 2).max(30);
        let lines = wrap(text, room);
        // A longer word is broken on a terminal only, so that what is in a file can be copied.
        let lines = if self.terminal { lines.iter().flat_map(|line| broken(line, room)).collect() } else { lines };
        for (number, line) in lines.iter().enumerate() {
            let label = if number == 0 { label } else { "" };
            let pad = " ".repeat(column.saturating_sub(width(label)));
            let label = if label.is_empty() { pad } else { format!("{pad}{}", self.faint(label)) };
            let _ = writeln!(out, "{label}  {line}");
        }
    }
}

/// A line in parts that are not wider than the room.
fn broken(line: &str, room: usize) -> Vec<String> {
    let mut parts = vec![String::new()];
    let mut used = 0;
    for c in line.chars() {
        let wide = c.width().unwrap_or(0);
        if used + wide > room {
            parts.push(String::new());
            used = 0;
        }
        if let Some(part) = parts.last_mut() {
            part.push(c);
        }
        used += wide;
    }
    parts
}

/// Breaks a text at spaces, so that no line is wider than `room` unless a single word is.
pub(crate) fn wrap(text: &str, room: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    let mut used = 0;
    for word in clean(text).split(' ').filter(|word| !word.is_empty()) {
        let wide = width(word);
        if used > 0 && used + 1 + wide > room {
            lines.push(String::new());
            used = 0;
        }
        if let Some(line) = lines.last_mut() {
            if used > 0 {
                line.push(' ');
                used += 1;
            }
            line.push_str(word);
            used += wide;
        }
    }
    lines
}

/// A number with its noun: "1 record", "2 records".
pub(crate) fn count(number: usize, noun: &str) -> String {
    if number == 1 { format!("1 {noun}") } else { format!("{number} {noun}s") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hostile_text_is_shown_as_text() {
        assert_eq!(clean("a\u{1b}[2Jb\nc\u{202e}d"), "a\u{fffd}[2Jb c\u{fffd}d");
        assert_eq!(clean("a\u{200b}b\u{2028}c\u{9b}d\u{e0041}"), "a\u{fffd}b\u{fffd}c\u{fffd}d\u{fffd}");
    }

    #[test]
    fn a_whole_output_is_cleaned_but_for_our_colours() {
        let text =
            "\u{1b}[1m\u{1b}[31merror\u{1b}[0m\u{1b}[2J\u{9b}\ta\r\nb\rc\n  ::error x::y\n::a\nx ##[error]\u{2029}";
        let rest = "\u{fffd}[2J\u{fffd}\ta\r\nb\u{fffd}c\n  : :error x::y\n::a\nx # #[error]\u{fffd}";
        assert_eq!(harmless(text, true, false), format!("\u{1b}[1m\u{1b}[31merror\u{1b}[0m{rest}"));
        assert_eq!(harmless(text, false, false), format!("\u{fffd}[1m\u{fffd}[31merror\u{fffd}[0m{rest}"));
        assert_eq!(harmless("::error x::y\n", false, true), "::error x::y\n");
        let json = escaped_json("{\n\"\u{202e}##[\u{9b}\u{e0041}ä\"}".to_owned());
        assert_eq!(json, "{\n\"\\u202e\\u0023#[\\u009b\\udb40\\udc41ä\"}");
    }

    #[test]
    fn lines_break_at_spaces() {
        assert_eq!(wrap("one two three", 7), ["one two", "three"]);
        assert_eq!(wrap("unbreakable-word x", 5), ["unbreakable-word", "x"]);
        assert_eq!(wrap("", 5), [""]);
        assert_eq!(
            (broken("unbreakable", 5), broken("", 5)),
            (vec!["unbre".into(), "akabl".into(), "e".into()], vec!["".into()])
        );
    }
}
