//! Text output: colour as a second signal, aligned columns, wrapped lines, harmless output of hostile text.

use std::fmt::Write as _;
use std::io::{ErrorKind, IsTerminal, Write};
use std::time::{Duration, Instant};

use anstyle::{AnsiColor, Style};
use schema::settings::Level;
use unicode_width::UnicodeWidthChar;

use crate::args::{Color, Shared};

/// Writes the output to stdout; a reader that closes the pipe early is not an error.
pub(crate) fn print(text: &str) -> std::io::Result<()> {
    let mut out = std::io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() == ErrorKind::BrokenPipe => Ok(()),
        result => result,
    }
}

/// Prints an error to stderr: error, cause, fix.
pub(crate) fn print_error(error: &trace::Error, shared: &Shared) {
    let terminal = std::io::stderr().is_terminal();
    let ink = Ink { on: wants_color(shared.color, terminal), width: 100, room: None, terminal };
    // Lines in a file or a pipe are not broken, so that commands in them can be copied.
    let lines = |text: &str| if terminal { wrap(text, ERROR_WIDTH - 7) } else { vec![clean(text)] };
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
    let _ = std::io::stderr().lock().write_all(text.as_bytes());
}

/// The width of error messages on a terminal.
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

/// The text without control characters, so that no title can move the cursor or hide a line.
pub(crate) fn clean(text: &str) -> String {
    // Marks that change the direction of writing (UAX #9) could show another text than is there.
    let turns_direction =
        |c: char| matches!(c, '\u{061c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    let hostile = |c: char| c.is_control() || turns_direction(c);
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        out.push(if c == '\n' || c == '\t' {
            ' '
        } else if hostile(c) {
            '\u{fffd}'
        } else {
            c
        });
    }
    out
}

/// The width of a text on a terminal.
pub(crate) fn width(text: &str) -> usize {
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

    /// Whether a person reads the output on a screen.
    pub(crate) fn is_terminal(self) -> bool {
        self.terminal
    }

    /// The largest width of a table; not limited in a file or a pipe.
    pub(crate) fn room(self) -> usize {
        self.room.unwrap_or(usize::MAX)
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
        for (number, line) in wrap(text, room).iter().enumerate() {
            let label = if number == 0 { label } else { "" };
            let pad = " ".repeat(column.saturating_sub(width(label)));
            let label = if label.is_empty() { pad } else { format!("{pad}{}", self.faint(label)) };
            let _ = writeln!(out, "{label}  {line}");
        }
    }
}

/// Breaks a text at spaces, so that no line is wider than `room` unless a single word is.
fn wrap(text: &str, room: usize) -> Vec<String> {
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

/// A text as one word of a POSIX shell, quoted if it has to be.
pub(crate) fn word(text: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_./=,:@%+".contains(c);
    if !text.is_empty() && text.chars().all(plain) { text.to_owned() } else { quoted(text) }
}

/// A text as one quoted word of a POSIX shell.
pub(crate) fn quoted(text: &str) -> String {
    format!("'{}'", text.replace('\'', r"'\''"))
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
    }

    #[test]
    fn lines_break_at_spaces() {
        assert_eq!(wrap("one two three", 7), ["one two", "three"]);
        assert_eq!(wrap("unbreakable-word x", 5), ["unbreakable-word", "x"]);
        assert_eq!(wrap("", 5), [""]);
    }
}
