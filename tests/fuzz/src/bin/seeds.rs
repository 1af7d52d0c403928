//! Writes each target's seeds under the folder given, one folder a target, and prints their names.

use std::path::PathBuf;
use std::process::ExitCode;

use pinhold_fuzz::TARGETS;

fn main() -> ExitCode {
    let Some(folder) = std::env::args_os().nth(1).map(PathBuf::from) else {
        eprintln!("usage: seeds FOLDER");
        return ExitCode::from(2);
    };
    for target in &TARGETS {
        let place = folder.join(target.name);
        let written = std::fs::create_dir_all(&place).and_then(|()| {
            let mut seeds = (target.seeds)().into_iter().enumerate();
            seeds.try_for_each(|(index, seed)| std::fs::write(place.join(index.to_string()), seed))
        });
        if let Err(error) = written {
            eprintln!("seeds: {}: {error}", place.display());
            return ExitCode::FAILURE;
        }
        println!("{}", target.name);
    }
    ExitCode::SUCCESS
}
