//! The real binary killed at random moments while it writes: what was committed is there, the store
//! opens, everything in it checks, and what takes one step has happened whole or not at all.
//!
//! `PINHOLD_KILLS` makes it longer: a factor.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use pinhold::analysis::random::Random;
use pinhold::exchange::bundle;
use pinhold::store::{Store, verify};
use rusqlite::{Connection, OpenFlags};
use tempfile::TempDir;

use crate::everything::{dump, fill};
use crate::fixture::FIXTURES;

/// Judging seed; each kind of work adds its place.
const SEED: u64 = 910_100;
/// Kills of each kind of work in the short form.
const KILL_COUNT: u32 = 18;
/// Longest a process is waited for.
const PROCESS_TIMEOUT: Duration = Duration::from_secs(60);
/// Instruments in a store, so that work takes long enough to be hit in the middle.
const INSTRUMENT_COUNT: u32 = 12;

fn factor() -> u32 {
    std::env::var("PINHOLD_KILLS").map_or(1, |text| text.parse().expect("a whole number"))
}

fn dump_of(path: &Path) -> Vec<String> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY;
    dump(&Connection::open_with_flags(path, flags).unwrap()).unwrap()
}

/// A store of instruments `name-N`, surveys from `uid` on.
fn stocked(folder: &Path, name: &str, uid: u64) {
    let mut store = Store::open(folder).unwrap();
    for number in 0..INSTRUMENT_COUNT {
        let epoch = uid as u32 + number;
        fill(&mut store, &format!("{name}-{number}"), uid + u64::from(number) * 10, epoch);
    }
}

/// One kind of work: how its folder is made, what the binary is told, what must hold afterwards.
struct Work {
    name: &'static str,
    arguments: Vec<String>,
    /// Makes the folder `data` anew.
    prepare: Box<dyn Fn(&Path) + Sync + Send>,
    /// Panics when something is lost; true when the work was done whole.
    check: Box<dyn Fn(&Path) -> bool + Sync + Send>,
}

/// How the kills of one kind went.
struct Tally {
    name: &'static str,
    killed: u32,
    done: u32,
}

impl Work {
    fn run(&self, place: u64) -> Tally {
        let folder = TempDir::new().unwrap();
        let data = folder.path().join("data");
        let fresh = || {
            let _ = fs::remove_dir_all(&data);
            fs::create_dir_all(&data).unwrap();
            (self.prepare)(&data);
        };
        fresh();
        let started = Instant::now();
        assert!(self.killed_after(&data, PROCESS_TIMEOUT).is_none(), "{}: no end", self.name);
        let whole = started.elapsed();
        assert!((self.check)(&data), "{}: not done when left alone", self.name);
        let mut random = Random::new(SEED + place);
        let mut tally = Tally { name: self.name, killed: 0, done: 0 };
        let mut tries = 0;
        while tally.killed < KILL_COUNT * factor() {
            tries += 1;
            assert!(tries < 20 * KILL_COUNT * factor(), "{}: hardly ever hit", self.name);
            fresh();
            let moment = whole.mul_f64(random.uniform());
            if self.killed_after(&data, moment).is_some() {
                tally.killed += 1;
                tally.done += u32::from((self.check)(&data));
            }
        }
        tally
    }

    /// Runs the binary and kills it after a while; `None` when it ended before, which must be well.
    fn killed_after(&self, data: &Path, moment: Duration) -> Option<()> {
        let mut child = Command::new(env!("CARGO_BIN_EXE_pinhold"))
            .arg("--data")
            .arg(data)
            .args(&self.arguments)
            .env_remove("PINHOLD_UNIT")
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let started = Instant::now();
        while started.elapsed() < moment {
            if let Some(status) = child.try_wait().unwrap() {
                assert!(status.success(), "{}: {status}", self.name);
                return None;
            }
            std::thread::sleep(Duration::from_micros(200));
        }
        // SIGKILL: nothing of the process runs any more.
        child.kill().unwrap();
        (!child.wait().unwrap().success()).then_some(())
    }
}

fn copy_store(from: &Path, to: &Path) {
    fs::copy(from.join("pinhold.db"), to.join("pinhold.db")).unwrap();
}

/// Opens the store as the next command does; its content.
fn reopened(data: &Path) -> Vec<String> {
    assert!(data.join("pinhold.db").exists(), "there is no store");
    drop(Store::open(data).unwrap());
    let path = data.join("pinhold.db");
    assert_eq!(verify(&path).unwrap().findings, []);
    dump_of(&path)
}

/// Work that ends in one of two contents.
fn one_step(
    name: &'static str,
    arguments: Vec<String>,
    base: PathBuf,
    (before, after): (Vec<String>, Vec<String>),
) -> Work {
    Work {
        name,
        arguments,
        prepare: Box::new(move |data| copy_store(&base, data)),
        check: Box::new(move |data| {
            let found = reopened(data);
            assert!(found == before || found == after, "{name}: neither before nor after");
            found == after
        }),
    }
}

fn import(shelf: &Path, base: &Path) -> Work {
    let store = Store::open(&shelf.join("other")).unwrap();
    let file = shelf.join("moved.pinhold");
    let id = store.find_instrument("theirs-0").unwrap().id;
    bundle::write(&store, id, false, &mut fs::File::create(&file).unwrap()).unwrap();
    let arguments = vec!["import".to_owned(), file.to_str().unwrap().to_owned()];
    let after = shelf.join("imported");
    fs::create_dir(&after).unwrap();
    copy_store(base, &after);
    let mut taken = Store::open(&after).unwrap();
    let mut receiver = taken.receive().unwrap();
    store
        .each_record(id, &mut |record| receiver.take(record))
        .and_then(|()| receiver.finish())
        .unwrap();
    drop(taken);
    let contents = (reopened(base), reopened(&after));
    one_step("import", arguments, base.to_path_buf(), contents)
}

fn merge(shelf: &Path, base: &Path) -> Work {
    let other = shelf.join("other");
    let arguments = vec!["merge".to_owned(), other.to_str().unwrap().to_owned()];
    let after = shelf.join("merged");
    fs::create_dir(&after).unwrap();
    copy_store(base, &after);
    Store::open(&after).unwrap().merge(&Store::open(&other).unwrap()).unwrap();
    let contents = (reopened(base), reopened(&after));
    one_step("merge", arguments, base.to_path_buf(), contents)
}

/// Any command on a store of an older schema.
fn migration() -> Work {
    let old = |data: &Path| {
        let connection = Connection::open(data.join("pinhold.db")).unwrap();
        connection.execute_batch(FIXTURES[0]).unwrap();
        connection
            .execute_batch(
                "WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 3000)
                 INSERT INTO verdict (survey_id, created, version, inputs, document)
                     SELECT 1, 'then', '0', '{}', hex(zeroblob(200)) FROM n",
            )
            .unwrap();
    };
    let folder = TempDir::new().unwrap();
    old(folder.path());
    drop(Store::open(folder.path()).unwrap());
    let expected = dump_of(&folder.path().join("pinhold.db"));
    Work {
        name: "migration",
        arguments: vec!["instrument".to_owned(), "list".to_owned()],
        prepare: Box::new(old),
        check: Box::new(move |data| {
            let path = data.join("pinhold.db");
            let found = Connection::open(&path).unwrap();
            let version: i64 =
                found.pragma_query_value(None, "user_version", |row| row.get(0)).unwrap();
            drop(found);
            assert!(version == 1 || version == pinhold::store::SCHEMA_VERSION, "{version}");
            drop(Store::open(data).unwrap());
            assert!(dump_of(&path) == expected, "migrated to something else");
            version > 1
        }),
    }
}

fn backup(shelf: &Path, base: &Path) -> Work {
    let (older, store) = (shelf.join("older.db"), reopened(base));
    Store::open(&shelf.join("other")).unwrap().backup(&older).unwrap();
    let (old, base) = (dump_of(&older), base.to_path_buf());
    let target = shelf.join("target.db");
    let (told, into) = (target.to_str().unwrap().to_owned(), target.clone());
    Work {
        name: "backup",
        arguments: vec!["backup".to_owned(), told],
        prepare: Box::new(move |data| {
            copy_store(&base, data);
            fs::copy(&older, &into).unwrap();
        }),
        check: Box::new(move |data| {
            assert!(reopened(data) == store, "backup: the store changed");
            assert_eq!(verify(&target).unwrap().findings, []);
            let found = dump_of(&target);
            assert!(found == old || found == store, "backup: neither the old nor the new");
            found == store
        }),
    }
}

fn restore(shelf: &Path, base: &Path) -> Work {
    let from = shelf.join("restored.db");
    Store::open(&shelf.join("other")).unwrap().backup(&from).unwrap();
    let (before, after, base) = (reopened(base), dump_of(&from), base.to_path_buf());
    Work {
        name: "restore",
        arguments: vec!["restore".to_owned(), from.to_str().unwrap().to_owned()],
        prepare: Box::new(move |data| copy_store(&base, data)),
        check: Box::new(move |data| {
            let found = reopened(data);
            if found == before {
                return false;
            }
            assert!(found == after, "restore: neither the old nor the new");
            let kept = fs::read_dir(data).unwrap().find_map(|entry| {
                let path = entry.unwrap().path();
                path.to_string_lossy().contains(".db.replaced-").then_some(path)
            });
            assert!(dump_of(&kept.expect("the replaced store is kept")) == before);
            true
        }),
    }
}

/// Surveys with a simulated lever, killed in the middle, begun again in the same store.
fn surveys() -> Tally {
    let folder = TempDir::new().unwrap();
    let data = folder.path().join("data");
    let path = data.join("pinhold.db");
    let mut random = Random::new(SEED + 99);
    let mut tally = Tally { name: "survey", killed: 0, done: 0 };
    let mut held = 0;
    for number in 0..KILL_COUNT * factor() {
        let seed = number.to_string();
        let work = Work {
            name: "survey",
            arguments: ["demo", "--seed", &seed].map(str::to_owned).to_vec(),
            prepare: Box::new(|_| {}),
            check: Box::new(|_| true),
        };
        // Not before the first readings come, nor after the last.
        let moment = Duration::from_millis(150).mul_f64(1.0 + 3.0 * random.uniform());
        assert!(work.killed_after(&data, moment).is_some(), "a survey ended in {moment:?}");
        tally.killed += 1;
        let store = Store::open(&data).unwrap();
        drop(store);
        let checked = verify(&path).unwrap();
        assert_eq!(checked.findings, []);
        assert!(checked.counts[2] >= held, "readings were lost: {} of {held}", checked.counts[2]);
        tally.done += u32::from(checked.counts[2] > held);
        held = checked.counts[2];
        // A lever's records come in order: none is missing before one that is there.
        let connection = Connection::open(&path).unwrap();
        let gaps: i64 = connection
            .query_row(
                "WITH held (lever_id, epoch, number) AS (SELECT lever_id, epoch, number FROM reading
                     UNION SELECT lever_id, epoch, number FROM lever_record)
                 SELECT count(*) FROM held WHERE number > 0 AND NOT EXISTS (SELECT 1
                     FROM held AS before WHERE before.lever_id = held.lever_id
                         AND before.epoch = held.epoch AND before.number = held.number - 1)",
                [],
                |row| row.get(0),
            )
            .unwrap();
        assert_eq!(gaps, 0, "a record is missing before one that is stored");
    }
    assert!(held > 0, "no survey was ever hit after its first reading");
    tally
}

#[test]
fn kills_at_any_moment_lose_nothing() {
    let shelf = TempDir::new().unwrap();
    let base = shelf.path().join("base");
    stocked(&base, "ours", 1000);
    stocked(&shelf.path().join("other"), "theirs", 5000);
    let works = [
        import(shelf.path(), &base),
        merge(shelf.path(), &base),
        migration(),
        backup(shelf.path(), &base),
        restore(shelf.path(), &base),
    ];
    let tallies: Vec<Tally> = std::thread::scope(|scope| {
        let surveying = scope.spawn(surveys);
        let working: Vec<_> =
            (0..).zip(&works).map(|(at, work)| scope.spawn(move || work.run(at))).collect();
        let mut tallies: Vec<Tally> =
            working.into_iter().map(|thread| thread.join().unwrap()).collect();
        tallies.push(surveying.join().unwrap());
        tallies
    });
    let mut killed = 0;
    for tally in &tallies {
        killed += tally.killed;
        println!("{}: {} kills, after {} of them done", tally.name, tally.killed, tally.done);
    }
    println!("{killed} kills, 0 committed readings lost; seeds from {SEED}");
    assert!(killed >= 100);
}
