//! The command line: arguments, files, exit codes. All else is the library's.

mod app {
    pub mod args;
    pub mod args_board;
    pub mod args_fit;
    pub mod args_open;
    pub mod boards;
    pub mod compare;
    pub mod coupon;
    pub mod demo;
    pub mod explain;
    pub mod failure;
    pub mod fit;
    pub mod folder;
    pub mod hidden;
    pub mod inputs;
    pub mod mend;
    pub mod one_file;
    /// `open`: a page for all of it.
    pub mod open {
        pub mod about;
        pub mod ask;
        pub mod browser;
        pub mod cancel;
        pub mod changes;
        pub mod command;
        pub mod connections;
        pub mod guard;
        pub mod intake;
        pub mod life;
        pub mod measures;
        pub mod replays;
        pub mod reply;
        pub mod routes;
        pub mod shapes;
        pub mod state;
        pub mod store;
        pub mod work;
    }
    pub mod pictures;
    pub mod progress;
    pub mod recording;
    #[cfg(test)]
    mod refused;
    pub mod remedies;
    pub mod replay;
    pub mod room;
    pub mod shell;
    pub mod signals;
    pub mod swap;
    pub mod table;
    pub mod terminal;
    pub mod values;
    pub mod written;
}

use std::process::ExitCode;

use clap::Parser;

use app::args::{Args, Command};
use app::failure::Failure;

fn main() -> ExitCode {
    let args = match Args::try_parse() {
        Ok(args) => args,
        Err(error) => return app::terminal::unparsed(&error),
    };
    app::signals::survive_file_limit();
    let done = app::room::check_memory().and_then(|()| match &args.command {
        Command::Open(open) => app::open::command::run(open),
        Command::Replay(replay) => app::replay::run(replay),
        Command::Compare(compare) => app::compare::run(compare),
        Command::Remedies(remedies) => app::remedies::run(remedies),
        Command::Coupon(coupon) => app::coupon::run(coupon),
        Command::Fit(fit) => app::fit::run(fit),
        Command::Explain(explain) => app::explain::run(explain),
        Command::Mend(mend) => app::mend::run(mend),
        Command::Demo { out } => app::demo::run(out),
        Command::Completions { shell } => app::shell::completions(*shell),
        Command::Man { command } => app::shell::man(command.as_deref()),
        Command::Boards { name } => app::boards::run(name.as_deref()),
    });
    match done {
        Ok(code) => code,
        Err(Failure::ClosedPipe) => ExitCode::SUCCESS,
        Err(failure) => {
            app::terminal::complain(&failure.to_string());
            ExitCode::from(failure.exit_code())
        }
    }
}
