//! The whole screen of a terminal, given back on every exit.
//!
//! The alternate screen is left and the cursor shown when [`FullScreen`] is dropped, and by a panic. What
//! the terminal was used for before is then seen again as it stood.

use std::io;
use std::io::Write;
use std::sync::Arc;
use std::sync::Once;
use std::sync::atomic::AtomicBool;
use std::sync::atomic::Ordering;

use ratatui::Terminal;
use ratatui::backend::CrosstermBackend;
use ratatui::crossterm::cursor::Hide;
use ratatui::crossterm::cursor::Show;
use ratatui::crossterm::execute;
use ratatui::crossterm::terminal::EnterAlternateScreen;
use ratatui::crossterm::terminal::LeaveAlternateScreen;
use ratatui::layout::Position;
use ratatui::layout::Rect;

use super::cockpit;
use super::cockpit::Scene;
use super::screen::Bell;

/// The whole screen is ours until this is dropped.
pub struct FullScreen {
    terminal: Terminal<CrosstermBackend<io::Stdout>>,
    /// Set when the program was stopped by Ctrl-Z and goes on: the screen is another one then.
    again: Arc<AtomicBool>,
    left: Arc<AtomicBool>,
}

impl FullScreen {
    /// Takes the screen.
    ///
    /// # Errors
    /// Whatever the terminal says.
    pub fn enter() -> io::Result<Self> {
        static HOOK: Once = Once::new();
        HOOK.call_once(|| {
            let before = std::panic::take_hook();
            std::panic::set_hook(Box::new(move |panic| {
                // Without this the message goes to a screen that is taken away with it.
                leave();
                before(panic);
            }));
        });
        let again = Arc::new(AtomicBool::new(false));
        // Without the signal a program that comes back from Ctrl-Z shows itself with the next change only.
        let _ = signal_hook::flag::register(signal_hook::consts::SIGCONT, Arc::clone(&again));
        let mut terminal = Terminal::new(CrosstermBackend::new(io::stdout()))?;
        execute!(io::stdout(), EnterAlternateScreen, Hide)?;
        clear(&mut terminal)?;
        Ok(Self { terminal, again, left: Arc::default() })
    }

    /// Whoever presses the key for it sees the screen painted anew.
    pub fn paint_anew(&self) -> impl Fn() + Send + Sync + 'static {
        let again = Arc::clone(&self.again);
        move || again.store(true, Ordering::Relaxed)
    }

    /// Whoever sees first that the program is about to end gives the screen back: a second signal ends
    /// it at once.
    pub fn give_back(&self) -> impl Fn() + Send + Sync + 'static {
        let left = Arc::clone(&self.left);
        move || leave_once(&left)
    }

    /// Its columns.
    pub fn width(&self) -> usize {
        self.terminal.size().map_or(80, |size| usize::from(size.width))
    }

    /// Paints `scene` in whatever size the terminal has now.
    ///
    /// # Errors
    /// Whatever the terminal says.
    pub fn draw(&mut self, scene: &Scene) -> io::Result<()> {
        if self.left.load(Ordering::Relaxed) {
            return Ok(());
        }
        if self.again.swap(false, Ordering::Relaxed) {
            execute!(io::stdout(), EnterAlternateScreen, Hide)?;
            clear(&mut self.terminal)?;
        }
        self.terminal.draw(|frame| cockpit::draw(frame, scene))?;
        Ok(())
    }

    /// Rings.
    ///
    /// # Errors
    /// Whatever the terminal says.
    pub fn ring(&mut self, bell: Bell) -> io::Result<()> {
        let mut out = io::stdout();
        out.write_all(bell.strokes())?;
        out.flush()
    }

    /// Gives the screen back now.
    pub fn leave(&mut self) {
        leave_once(&self.left);
    }
}

impl Drop for FullScreen {
    fn drop(&mut self) {
        self.leave();
    }
}

/// All of it is painted with the next frame. Not by `Terminal::clear`, which asks the terminal where its
/// cursor is and waits for the answer: a watch waits for nobody.
fn clear(terminal: &mut Terminal<CrosstermBackend<io::Stdout>>) -> io::Result<()> {
    let size = terminal.size()?;
    terminal.resize(Rect::from((Position::ORIGIN, size)))
}

fn leave_once(left: &AtomicBool) {
    if !left.swap(true, Ordering::Relaxed) {
        leave();
    }
}

/// Nobody is left to be told that the terminal is gone.
fn leave() {
    let _ = execute!(io::stdout(), LeaveAlternateScreen, Show);
}
