//! Lists incidents that are looked for among many, and sums them up beside each other.
//!
//! Both take the same filters, all of which have to hold, and answer from the index where it is right. A day that is none, a
//! word that names nothing and a site that the record does not know are mistakes and are named, because an empty list would
//! look like an answer. In sums an altered record is left out and named; in a list it stands and says that it is altered.

use super::drills_learn::{every_month, limits, summary_json, time};
use super::log::Shelf;
use super::{DataFolder, Format, say_error};
use crate::clock::Clock;
use crate::compute::entry;
use crate::drill::{Summary, Trend};
use crate::history::Listed;
use crate::plan::Policy;
use crate::review::{self, By, Digest, Filter, Group, Order, Outcome, PastTarget, Side};
use crate::words::{Language, fold};
use chrono::NaiveDate;
use clap::{Args, ValueEnum};
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::io::Write;

/// So many names are given to whoever asked for one that is not there.
const NAMED_MAX: usize = 12;

/// Which incidents.
#[derive(Clone, Debug, Args)]
struct Wanted {
    /// Every word of it stands in the id, the site, the place or a task, whatever its case and accents.
    #[arg(long, value_name = "TEXT")]
    search: Option<String>,
    /// Of this site; said again, of that one too.
    #[arg(long, value_name = "NAME")]
    site: Vec<String>,
    /// Somebody hung at this position, by id or name; said again, or at that one.
    #[arg(long, value_name = "NAME")]
    position: Vec<String>,
    /// Began on this day or later, as YEAR-MONTH-DAY.
    #[arg(long, value_name = "DAY", value_parser = day)]
    since: Option<NaiveDate>,
    /// Began on this day or earlier.
    #[arg(long, value_name = "DAY", value_parser = day)]
    until: Option<NaiveDate>,
    /// Drills alone.
    #[arg(long, conflicts_with = "rescue")]
    drill: bool,
    /// Rescues alone.
    #[arg(long)]
    rescue: bool,
    /// How it came out: off, hanging, open or past-target; said again, that too.
    #[arg(long, value_name = "HOW")]
    outcome: Vec<Outcome>,
    /// Something is still to be done.
    #[arg(long)]
    open_tasks: bool,
    /// Something that was to be done is overdue.
    #[arg(long)]
    overdue: bool,
    /// The day as of which something is overdue; today where it is not said.
    #[arg(long, value_name = "DAY", value_parser = day)]
    on: Option<NaiveDate>,
}

/// What to list.
#[derive(Clone, Debug, Args)]
pub(super) struct Options {
    #[command(flatten)]
    wanted: Wanted,
    /// In which order.
    #[arg(long, value_enum, default_value_t)]
    sort: Sort,
    #[command(flatten)]
    data: DataFolder,
    /// How to say it.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// What to sum up.
#[derive(Clone, Debug, Args)]
pub(super) struct Trends {
    /// What is put together.
    #[arg(long, value_enum, default_value_t)]
    by: Together,
    #[command(flatten)]
    wanted: Wanted,
    #[command(flatten)]
    data: DataFolder,
    /// How to say it.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// In which order incidents are listed.
#[derive(Clone, Copy, Debug, Default, ValueEnum)]
enum Sort {
    /// The oldest first.
    #[default]
    Oldest,
    /// The newest first.
    Newest,
    /// Who hung longest first.
    Longest,
    /// By site.
    Site,
}

/// What is put together.
#[derive(Clone, Copy, Debug, Default, ValueEnum)]
enum Together {
    /// The incidents of a site.
    #[default]
    Site,
    /// Those who hung at a position.
    Position,
    /// The incidents of a month.
    Month,
    /// Those for whom a method was tried last.
    Method,
}

impl Options {
    pub(super) fn data(&self) -> &DataFolder {
        &self.data
    }
}

impl Trends {
    pub(super) fn data(&self) -> &DataFolder {
        &self.data
    }
}

/// A day of the calendar as it is asked for.
pub(super) fn day(text: &str) -> Result<NaiveDate, String> {
    NaiveDate::parse_from_str(text, "%Y-%m-%d").map_err(|_| {
        "a day of the calendar is written as YEAR-MONTH-DAY, e.g. 2031-05-31".to_owned()
    })
}

impl Wanted {
    /// The filter, or why what was asked for makes no sense in this record.
    fn filter(&self, all: &[Listed], today: NaiveDate) -> Result<Filter, String> {
        if let (Some(since), Some(until)) = (self.since, self.until)
            && since > until
        {
            return Err(format!("no day is since {since} and until {until}"));
        }
        let asks = |it| self.outcome.contains(&it);
        if asks(Outcome::Off) && asks(Outcome::Hanging) {
            return Err(
                "nobody is off the harness and hanging; say one --outcome of the two".to_owned(),
            );
        }
        let digests = || all.iter().map(|it| &it.digest);
        known("site", &self.site, digests().map(|it| it.site.as_str()))?;
        let places = digests().flat_map(|it| &it.casualties);
        let places = places.flat_map(|it| it.place.iter().chain(&it.position));
        known("position", &self.position, places.map(String::as_str))?;
        let mut filter = Filter {
            since: self.since,
            until: self.until,
            drill: (self.drill || self.rescue).then_some(self.drill),
            outcomes: self.outcome.clone(),
            open_tasks: self.open_tasks,
            overdue: self.overdue.then_some(today),
            ..Filter::default()
        };
        self.search.iter().for_each(|it| filter.search(it));
        self.site.iter().for_each(|it| filter.site(it));
        self.position.iter().for_each(|it| filter.position(it));
        Ok(filter)
    }

    fn today(&self) -> NaiveDate {
        self.on.unwrap_or_else(|| Clock::new().read().day())
    }
}

/// Says which names there are where one that was asked for is not among them.
fn known<'a>(
    what: &str,
    asked: &[String],
    names: impl Iterator<Item = &'a str> + Clone,
) -> Result<(), String> {
    let is_known = |it: &&String| {
        let asked = fold(it.trim());
        names.clone().any(|name| fold(name) == asked)
    };
    let Some(unknown) = asked.iter().find(|it| !is_known(it)) else {
        return Ok(());
    };
    let all: BTreeSet<&str> = names.clone().filter(|it| !it.is_empty()).collect();
    let some: Vec<&str> = all.iter().copied().take(NAMED_MAX).collect();
    let more = match all.len().saturating_sub(NAMED_MAX) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    Err(match some.is_empty() {
        true => format!("no incident has the {what} {unknown:?}, nor any other"),
        false => format!(
            "no incident has the {what} {unknown:?}; there are {}{more}",
            some.join(", ")
        ),
    })
}

/// Lists them; the answer is the exit code.
pub(super) fn list(options: &Options) -> std::io::Result<u8> {
    let all = Shelf::open(&options.data).list()?;
    let count = all.len();
    let today = options.wanted.today();
    let filter = match options.wanted.filter(&all, today) {
        Ok(filter) => filter,
        Err(why) => {
            say_error(&why);
            return Ok(2);
        }
    };
    let wanted = all.iter();
    let mut wanted: Vec<&Listed> = wanted
        .filter(|it| filter.admits(&it.incident, &it.digest))
        .collect();
    let order = match options.sort {
        Sort::Oldest => Order::Oldest,
        Sort::Newest => Order::Newest,
        Sort::Longest => Order::Longest,
        Sort::Site => Order::Site,
    };
    order.sort(&mut wanted, |it| (&it.incident, &it.digest));
    let mut out = std::io::stdout().lock();
    if options.format == Format::Json {
        let rows: Vec<Value> = wanted.iter().map(|it| row_json(it, today)).collect();
        writeln!(out, "{}", Value::from(rows))?;
        return Ok(0);
    }
    if wanted.is_empty() {
        let folder = options.data.folder();
        match count {
            0 => writeln!(out, "No incident is recorded in {}.", folder.display())?,
            _ => writeln!(out, "None of {count} incidents is like that.")?,
        }
    }
    let sites: BTreeSet<&str> = wanted.iter().map(|it| it.digest.site.as_str()).collect();
    for it in &wanted {
        let site = (sites.len() > 1).then_some(it.digest.site.as_str());
        writeln!(out, "{}", row(it, site, today))?;
    }
    Ok(0)
}

/// How much is still to be done, and how much of that is overdue.
fn to_do(digest: &Digest, today: NaiveDate) -> (usize, usize) {
    let open = digest.tasks.iter().filter(|it| it.done_ms.is_none());
    let overdue = open.clone().filter(|it| it.is_overdue(today));
    (open.count(), overdue.count())
}

fn row_json(it: &Listed, today: NaiveDate) -> Value {
    let e = entry(it, Language::English);
    let digest = &it.digest;
    let positions: Vec<&String> = digest
        .casualties
        .iter()
        .filter_map(|it| it.position.as_ref())
        .collect();
    let (open, overdue) = to_do(digest, today);
    json!({ "incident": e.incident, "when": e.when, "site": digest.site, "place": e.place, "positions": positions,
            "drill": e.drill, "closed": e.closed, "hung": e.hung, "past_target": digest.past_target(), "tasks_open": open,
            "tasks_overdue": overdue, "intact": e.intact, "filled": e.filled, "records": it.records })
}

fn row(it: &Listed, site: Option<&str>, today: NaiveDate) -> String {
    let e = entry(it, Language::English);
    let kind = if e.drill { "drill" } else { "rescue" };
    let end = if e.closed {
        "stood down"
    } else {
        "not stood down"
    };
    let hung = e.hung.map_or_else(String::new, |h| format!(", hung {h}"));
    let past = match it.digest.past_target() {
        true => ", past target",
        false => "",
    };
    let tasks = match to_do(&it.digest, today) {
        (0, _) => String::new(),
        (open, 0) => format!(", {open} to be done"),
        (open, overdue) => format!(", {open} to be done, {overdue} overdue"),
    };
    let whole = match (e.intact, e.filled) {
        (true, _) => "intact",
        (false, true) => "ALTERED, gaps filled",
        (false, false) => "ALTERED",
    };
    let site = site.map_or_else(String::new, |it| format!("  {it}"));
    format!(
        "{}  {}  {kind}{site}  {}  {} records, {end}{hung}{past}{tasks}, {whole}",
        e.incident, e.when, e.place, it.records
    )
}

/// Sums them up; the answer is the exit code.
pub(super) fn trends(options: &Trends) -> std::io::Result<u8> {
    let all = Shelf::open(&options.data).list()?;
    let today = options.wanted.today();
    let filter = match options.wanted.filter(&all, today) {
        Ok(filter) => filter,
        Err(why) => {
            say_error(&why);
            return Ok(2);
        }
    };
    let wanted = all.iter();
    let wanted = wanted.filter(|it| filter.admits(&it.incident, &it.digest));
    let (whole, altered): (Vec<&Listed>, Vec<&Listed>) = wanted.partition(|it| it.intact);
    let by = match options.by {
        Together::Site => By::Site,
        Together::Position => By::Position,
        Together::Month => By::Month,
        Together::Method => By::Method,
    };
    let enough = Policy::default().drills_enough;
    let each = whole.iter().map(|it| (it.incident.as_str(), &it.digest));
    let groups = review::trends(each, by, enough, today);
    let mut out = std::io::stdout().lock();
    if options.format == Format::Json {
        let left_out: Vec<&String> = altered.iter().map(|it| &it.incident).collect();
        let groups: Vec<Value> = groups.iter().map(|it| group_json(it, by)).collect();
        let all = json!({ "format": 1, "by": word(by), "day": today.to_string(), "incidents": whole.len(),
                          "enough": enough, "groups": groups, "left_out": left_out });
        writeln!(out, "{all}")?;
        return Ok(0);
    }
    writeln!(out, "by {}, incidents: {}", word(by), whole.len())?;
    for group in &groups {
        out.write_all(group_text(group, by, enough).as_bytes())?;
    }
    writeln!(
        out,
        "\nTimes are from the fall to off the harness. A dash: too little is known, or too many were not brought off, to say."
    )?;
    writeln!(out, "No time in suspension is safe, however short it was.")?;
    for it in &altered {
        let id = &it.incident;
        writeln!(
            out,
            "{id} is left out: it was altered; `groundward log verify {id}` says where"
        )?;
    }
    Ok(0)
}

fn word(by: By) -> &'static str {
    match by {
        By::Site => "site",
        By::Position => "position",
        By::Month => "month",
        By::Method => "method",
    }
}

/// What a group is called.
fn name(group: &Group, by: By) -> String {
    let part = |at: usize| group.key.get(at).map_or("", String::as_str);
    let or = |name: &str, none: &str| match name {
        "" => none.to_owned(),
        name => name.to_owned(),
    };
    match by {
        By::Site => or(part(0), "site not known"),
        By::Month => part(0).to_owned(),
        By::Method => or(part(0), "no method tried"),
        By::Position => {
            let place = group.place.as_deref().unwrap_or(part(1));
            let place = or(place, "place not listed");
            format!("{place}, {}", or(part(0), "site not known"))
        }
    }
}

/// The kinds that are never put together, with what each is called.
fn sides(group: &Group) -> [(&'static str, &Side); 3] {
    [
        ("rescues", &group.rescues),
        ("drills", &group.drills),
        ("at a table", &group.table_tops),
    ]
}

fn group_text(group: &Group, by: By, enough: u32) -> String {
    let name = name(group, by);
    let mut out = String::new();
    // Writing to a string cannot fail.
    let _ = writeln!(
        out,
        "\n{name:28}  incidents  people  not off  {:28}  quarter     half   3 of 4  {:26}  every 30 days",
        "past target", "half is between"
    );
    for (word, side) in sides(group).into_iter().filter(|it| it.1.incidents > 0) {
        let past = past_text(&side.past);
        let _ = write!(
            out,
            "  {word:26}  {:>9}  {:>6}  {:>7}  {past:28}",
            side.incidents, side.people, side.not_off
        );
        let _ = match &side.times {
            Some(times) => writeln!(out, "  {}", times_text(times, side.change.as_ref())),
            None => writeln!(out, "  fewer than {enough}: only counted"),
        };
    }
    if group.open_tasks > 0 {
        let (open, overdue) = (group.open_tasks, group.overdue_tasks);
        let _ = writeln!(out, "  to be done: {open}, overdue: {overdue}");
    }
    out
}

fn past_text(it: &PastTarget) -> String {
    let counts = format!("{} of {}", it.past, it.of);
    let unknown = match it.unknown {
        0 => String::new(),
        unknown => format!(", {unknown} not known"),
    };
    let percent = |ppm: i64| (ppm + 5_000) / 10_000;
    let between = it.between.map_or_else(String::new, |(low, high)| {
        format!(" ({} to {} %)", percent(low.0), percent(high.0))
    });
    counts + &between + &unknown
}

fn times_text(times: &Summary, change: Option<&Trend>) -> String {
    let between = times.median_between.as_ref();
    format!(
        "{:>7}  {:>7}  {:>7}  {:26}  {}",
        time(times.lower),
        time(times.median),
        time(times.upper),
        between.map_or_else(|| "-".to_owned(), limits),
        every_month(change)
    )
}

fn group_json(group: &Group, by: By) -> Value {
    let kinds = sides(group).map(|it| side_json(it.1));
    let [rescues, drills, table_tops] = kinds;
    json!({ "key": group.key, "name": name(group, by), "rescues": rescues, "drills": drills, "table_tops": table_tops,
            "tasks_open": group.open_tasks, "tasks_overdue": group.overdue_tasks })
}

fn side_json(side: &Side) -> Value {
    let past = &side.past;
    let trend = |it: Trend| json!({ "ms_every_30_days": it.slope.0, "low_ms": it.low.map(|it| it.0), "high_ms": it.high.map(|it| it.0) });
    json!({
        "incidents": side.incidents, "people": side.people, "not_off": side.not_off,
        "past_target": { "past": past.past, "of": past.of, "unknown": past.unknown,
                         "low_ppm": past.between.map(|it| it.0.0), "high_ppm": past.between.map(|it| it.1.0) },
        "times": side.times.as_ref().map(summary_json),
        "change": side.change.map(trend),
    })
}
