//! The manual pages and shell completions, generated from the command line so that they always agree with it, and the
//! handbook's chapters as manual pages.

use super::Cli;
use crate::handbook::CHAPTERS;
use crate::outcome::{Outcome, complain};
use clap::CommandFactory;
use clap_complete::Shell;
use std::io;
use std::path::Path;

/// Writes one page for the program, one for each verb and each chapter of the handbook, and completions for the usual shells.
pub(super) fn write(folder: &Path) -> Outcome {
    match all(folder) {
        Ok(()) => Outcome::Done,
        Err(e) => {
            complain(&format!("middlewatch: {}: {e}", folder.display()));
            Outcome::Failed
        }
    }
}

fn all(folder: &Path) -> io::Result<()> {
    std::fs::create_dir_all(folder)?;
    clap_mangen::generate_to(Cli::command(), folder)?;
    for chapter in CHAPTERS {
        std::fs::write(folder.join(format!("{}.7", chapter.page())), chapter.manual())?;
    }
    for shell in [Shell::Bash, Shell::Fish, Shell::Zsh] {
        clap_complete::generate_to(shell, &mut Cli::command(), "middlewatch", folder)?;
    }
    Ok(())
}
