//! What every page looks like: on a phone and on a desk, light and dark, held against pictures that were looked at.
//!
//! The pictures and the places of what stands on each page lie in `docs/screens`. To renew them after a page was changed on
//! purpose: `KNOWNGOOD_RENEW=1 cargo nextest run --release -p cli looks::`, then look at each picture that git says is
//! another. Letters differ from machine to machine and dates from day to day, so pictures are compared as one sees them from
//! across the room, and places with room to move.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use crate::stage::{Bench, Browser, Folder};

/// What happened to the demo's units, with the times at which it was told.
const STORY: &str = include_str!("../../../bench/demo/story.txt");

/// Name of the picture, and address.
const DEMO: [(&str, &str); 19] = [
    ("bench", "/"),
    ("intake", "/intake?unit=1"),
    ("board", "/board/A3"),
    ("board-open", "/board/A4"),
    ("probe", "/board/A4/probe?unit=2"),
    ("map", "/board/A4/map"),
    ("trust", "/board/A3/trust"),
    ("sheet", "/board/A3/sheet"),
    ("proves", "/board/A4/proves?fault=R16+open"),
    ("twins", "/twins"),
    ("power", "/power?unit=1"),
    ("stores", "/stores/control"),
    ("signals", "/signals/clock"),
    ("tube", "/signals/tube"),
    ("logic", "/logic/control"),
    ("keys", "/keys"),
    ("nowhere", "/no-such-page"),
    ("ledger", "/ledger"),
    ("entry", "/entry/demo-a3-repair"),
];
const SIZES: [(&str, u32, u32); 2] = [("phone", 390, 844), ("desk", 1280, 900)];
const LIGHTS: [&str; 2] = ["light", "dark"];

/// A picture: width, and red, green and blue of each element.
#[derive(Clone)]
struct Picture {
    width: usize,
    dots: Vec<[u8; 3]>,
}

impl Picture {
    fn read(bytes: &[u8]) -> Self {
        let mut decoder = png::Decoder::new(std::io::Cursor::new(bytes));
        decoder.set_transformations(png::Transformations::EXPAND | png::Transformations::STRIP_16);
        let mut reader = decoder.read_info().expect("a PNG");
        let mut buffer = vec![0; reader.output_buffer_size().expect("a size")];
        let info = reader.next_frame(&mut buffer).expect("a picture");
        let samples = info.color_type.samples();
        assert!(samples >= 3, "pictures have colours");
        let dots = buffer[..info.buffer_size()].chunks_exact(samples);
        Self {
            width: info.width as usize,
            dots: dots.map(|d| [d[0], d[1], d[2]]).collect(),
        }
    }

    /// Written small: the sixteen colours that are most of it.
    fn small(&self) -> Vec<u8> {
        let coarse = |d: &[u8; 3]| d.map(|c| c & 0xf0);
        let mut counts: BTreeMap<[u8; 3], (usize, [usize; 3])> = BTreeMap::new();
        for dot in &self.dots {
            let (count, sum) = counts.entry(coarse(dot)).or_default();
            *count += 1;
            for (s, c) in sum.iter_mut().zip(dot) {
                *s += usize::from(*c);
            }
        }
        let mut list: Vec<(usize, [usize; 3])> = counts.into_values().collect();
        list.sort_by_key(|(count, _)| std::cmp::Reverse(*count));
        let palette: Vec<[u8; 3]> = list
            .iter()
            .take(16)
            .map(|(count, sum)| sum.map(|s| (s / count) as u8))
            .collect();
        let distance = |a: &[u8; 3], b: &[u8; 3]| -> u32 {
            a.iter()
                .zip(b)
                .map(|(x, y)| u32::from(x.abs_diff(*y)).pow(2))
                .sum()
        };
        let nearest = |dot: &[u8; 3]| {
            let all = palette.iter().enumerate();
            all.min_by_key(|(_, p)| distance(p, dot))
                .map_or(0, |(k, _)| k as u8)
        };
        let mut known: BTreeMap<[u8; 3], u8> = BTreeMap::new();
        let mut of = |dot: &[u8; 3]| *known.entry(*dot).or_insert_with(|| nearest(dot));
        let lines = self.dots.chunks_exact(self.width).map(|line| {
            let marks: Vec<u8> = line.iter().map(&mut of).collect();
            let pairs = marks
                .chunks(2)
                .map(|p| p[0] << 4 | p.get(1).copied().unwrap_or(0));
            pairs.collect::<Vec<u8>>()
        });
        let packed: Vec<u8> = lines.flatten().collect();
        let mut bytes = Vec::new();
        let height = self.dots.len() / self.width;
        let mut encoder = png::Encoder::new(&mut bytes, self.width as u32, height as u32);
        encoder.set_color(png::ColorType::Indexed);
        encoder.set_depth(png::BitDepth::Four);
        encoder.set_palette(palette.concat());
        encoder.set_compression(png::Compression::High);
        encoder.set_filter(png::Filter::NoFilter);
        let mut writer = encoder.write_header().expect("a head");
        writer.write_image_data(&packed).expect("written");
        writer.finish().expect("ended");
        bytes
    }

    /// As it is seen from across the room: how light each field of some thirty dots is, 0 to 1, a line after the other.
    fn gist(&self) -> Vec<f64> {
        const FIELD: usize = 30;
        let light = |d: &[u8; 3]| {
            (0.2126 * f64::from(d[0]) + 0.7152 * f64::from(d[1]) + 0.0722 * f64::from(d[2])) / 255.0
        };
        let height = self.dots.len() / self.width;
        let (across, down) = (self.width / FIELD, height / FIELD);
        let field = |row: usize, column: usize| {
            let lines = (0..FIELD).map(|y| (row * FIELD + y) * self.width + column * FIELD);
            let dots = lines.flat_map(|at| &self.dots[at..at + FIELD]);
            dots.map(light).sum::<f64>() / (FIELD * FIELD) as f64
        };
        (0..down)
            .flat_map(|r| (0..across).map(move |c| (r, c)))
            .map(|(r, c)| field(r, c))
            .collect()
    }
}

/// How alike two gists are: 1 if they are one, 0 if they have nothing in common (Pearson's correlation of the fields).
fn alike(a: &[f64], b: &[f64]) -> f64 {
    let count = a.len().min(b.len()) as f64;
    let mean = |list: &[f64]| list.iter().sum::<f64>() / count;
    let (ma, mb) = (mean(a), mean(b));
    let sum = |of: &dyn Fn(f64, f64) -> f64| -> f64 {
        a.iter().zip(b).map(|(x, y)| of(x - ma, y - mb)).sum()
    };
    sum(&|x, y| x * y) / (sum(&|x, _| x * x) * sum(&|_, y| y * y)).sqrt().max(1e-12)
}

/// Where the landmarks of a page are: what it is, and left edge, upper edge and width.
const LANDMARKS: &str = "const words = e => (e.id ? '#' + e.id : [...e.classList].map(c => '.' + c).join('')) ;
    return [...document.querySelectorAll('header, h1, h2, .answer, .next, .hold, aside.caution, form.enter, form.probe, .lead-on, .take-value, .keypad, table, figure, .picture, nav.steps, footer')]
        .filter(e => e.checkVisibility()).slice(0, 24)
        .map(e => { const b = e.getBoundingClientRect(); return [e.tagName.toLowerCase() + words(e).replace(/[0-9a-f]{6,}.*/, ''), Math.round(b.left), Math.round(b.top + scrollY), Math.round(b.width)]; })";

type Mark = (String, f64, f64, f64);

fn marks(value: &Value) -> Vec<Mark> {
    let one = |v: &Value| {
        let number = |k: usize| v[k].as_f64().unwrap_or(0.0);
        (
            v[0].as_str().unwrap_or("").to_owned(),
            number(1),
            number(2),
            number(3),
        )
    };
    value.as_array().expect("a list").iter().map(one).collect()
}

/// What of the landmarks is no longer where it was: each must be there, in this order, its left edge and its width nearly as
/// before; how far down it is may differ by a quarter and some lines, as letters and dates do.
fn moved(before: &[Mark], now: &[Mark], width: f64) -> Vec<String> {
    let mut rest = now.iter();
    let mut list = Vec::new();
    for (name, left, top, wide) in before {
        let mut ahead = rest.clone();
        let Some((_, l, t, w)) = ahead.find(|m| m.0 == *name) else {
            list.push(format!("{name} is gone, or stands elsewhere"));
            continue;
        };
        rest = ahead;
        let is_near = (l - left).abs() <= 0.06 * width
            && (t - top).abs() <= 0.25 * top + 120.0
            && (w - wide).abs() <= 0.12 * width;
        if !is_near {
            list.push(format!(
                "{name} was at {left}, {top}, {wide} wide and is at {l}, {t}, {w} wide"
            ));
        }
    }
    list
}

fn screens() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/screens")
}

/// One page in one size and light, as it is today.
struct Seen {
    name: String,
    picture: Picture,
    marks: Vec<Mark>,
    width: f64,
}

/// A picture once two in a row are the same: what is drawn by script, or in another light, comes a moment later on a busy machine.
async fn still_picture(browser: &Browser) -> Picture {
    let shot = async || Picture::read(&browser.client.screenshot().await.expect("a picture"));
    let mut last = shot().await;
    for _ in 0..40 {
        tokio::time::sleep(std::time::Duration::from_millis(150)).await;
        let next = shot().await;
        if next.dots == last.dots {
            break;
        }
        last = next;
    }
    last
}

async fn see(browser: &Browser, address: &str, name: &str, letters: &str) -> Vec<Seen> {
    let mut list = Vec::new();
    for (size, width, height) in SIZES {
        browser.size(width, height).await;
        browser.open(address).await;
        browser
            .until("return !/[Bb]eing weighed|being worked out|being followed/.test(document.body.textContent)
                && [...document.images].every(i => i.complete || i.loading === 'lazy')")
            .await;
        for light in LIGHTS {
            browser.scheme(light).await;
            let still = format!(
                "document.body.style.fontFamily = '{letters}'; scrollTo(0, 0); document.activeElement.blur(); return 0"
            );
            browser.run(&still).await;
            let marks = marks(&browser.run(LANDMARKS).await);
            let picture = still_picture(browser).await;
            list.push(Seen {
                name: format!("{name}-{size}-{light}"),
                picture,
                marks,
                width: f64::from(width),
            });
        }
    }
    list
}

#[tokio::test]
async fn every_page_looks_as_it_did_when_somebody_looked() {
    let Some(browser) = Browser::start().await else {
        return;
    };
    let demo = Bench::open(None);
    // The ledger's days are those of the story, whatever the hour is today.
    let told = Folder::of(&[(
        "machine.kdl",
        include_str!("../../../bench/demo/machine.kdl"),
    )]);
    let drafts = store::read_entries(STORY).expect("the story");
    drop(store::Store::with(&told.0.join(store::FILE), &drafts).expect("a ledger"));
    let told = (Bench::open(Some(&told.0)), told);
    let empty = Folder::new();
    let named = empty.0.join("my-machine");
    std::fs::create_dir(&named).expect("made");
    let empty = (Bench::open(Some(&named)), empty);
    let mut seen = Vec::new();
    for (name, path) in DEMO {
        let bench = if ["ledger", "entry", "intake"].contains(&name) {
            &told.0
        } else {
            &demo
        };
        seen.extend(see(&browser, &bench.address(path), name, "").await);
    }
    seen.extend(see(&browser, &empty.0.address("/"), "first", "").await);
    let places = screens().join("places.json");
    if std::env::var_os("KNOWNGOOD_RENEW").is_some() {
        renew(&seen, &places);
        return;
    }
    // Other letters, as another machine may have them, make no other page.
    for (name, path) in DEMO
        .into_iter()
        .filter(|(n, _)| ["bench", "board", "twins"].contains(n))
    {
        seen.extend(see(&browser, &demo.address(path), name, "serif").await);
    }
    let text = std::fs::read_to_string(&places).expect("docs/screens/places.json");
    let before: BTreeMap<String, Value> = serde_json::from_str(&text).expect("JSON");
    let kept = |name: &str| std::fs::read(screens().join(format!("{name}.png")));
    let gists: BTreeMap<&str, Vec<f64>> = seen
        .iter()
        .map(|s| {
            let bytes =
                kept(&s.name).unwrap_or_else(|e| panic!("docs/screens/{}.png: {e}", s.name));
            (s.name.as_str(), Picture::read(&bytes).gist())
        })
        .collect();
    let mut wrong = Vec::new();
    let (mut least, mut least_of_all): (f64, f64) = (1.0, 1.0);
    let (own_letters, taken) = (seen.len() - 12, std::cell::Cell::new(0));
    for s in &seen {
        let gone = moved(&marks(&before[&s.name]), &s.marks, s.width);
        wrong.extend(gone.iter().map(|g| format!("{}: {g}", s.name)));
        let gist = s.picture.gist();
        let own = alike(&gist, &gists[s.name.as_str()]);
        least_of_all = least_of_all.min(own);
        if taken.replace(taken.get() + 1) < own_letters {
            least = least.min(own);
        }
        // A page that is nearer to the picture of another one of its size and light has become something else.
        let kind = s.name.split_once('-').map_or("", |_| {
            &s.name[s
                .name
                .rfind("-phone")
                .or(s.name.rfind("-desk"))
                .unwrap_or(0)..]
        });
        let nearer = gists
            .iter()
            .filter(|(n, _)| **n != s.name && n.ends_with(kind));
        let nearer: Vec<&str> = nearer
            .filter(|(_, g)| alike(&gist, g) > own + 0.02)
            .map(|(n, _)| *n)
            .collect();
        if own < ALIKE || !nearer.is_empty() {
            wrong.push(format!(
                "{}: {own:.2} alike its picture, nearer to {nearer:?}",
                s.name
            ));
        }
        // Dark is dark.
        let mean = |g: &[f64]| g.iter().sum::<f64>() / g.len() as f64;
        if (mean(&gist) - mean(&gists[s.name.as_str()])).abs() > 0.12 {
            wrong.push(format!("{}: lighter or darker than its picture", s.name));
        }
    }
    eprintln!(
        "{} pictures, the least alike {least:.2}, with serifs instead {least_of_all:.2}",
        seen.len()
    );
    assert!(
        wrong.is_empty(),
        "{wrong:#?}\nTo renew them see the head of this test's file."
    );
}

/// How alike today's page must be to its picture at least. Measured: with the same letters 1.00, with serifs instead 0.33 and
/// more; a page that came out empty reaches 0. That it is nearer to its own picture than to any other page's is asked beside it.
const ALIKE: f64 = 0.25;

fn renew(seen: &[Seen], places: &Path) {
    std::fs::create_dir_all(screens()).expect("made");
    let mut total = 0;
    let mut list: BTreeMap<&str, Value> = BTreeMap::new();
    for s in seen {
        let bytes = s.picture.small();
        assert!(bytes.len() <= 60_000, "{}: {} bytes", s.name, bytes.len());
        total += bytes.len();
        std::fs::write(screens().join(format!("{}.png", s.name)), bytes).expect("written");
        let rows = s.marks.iter().map(|m| json!([m.0, m.1, m.2, m.3]));
        list.insert(&s.name, Value::Array(rows.collect()));
    }
    assert!(total < 2_000_000, "{total} bytes of pictures");
    let lines: Vec<String> = list
        .iter()
        .map(|(name, marks)| format!("{}: {marks}", json!(name)))
        .collect();
    std::fs::write(places, format!("{{\n{}\n}}\n", lines.join(",\n"))).expect("written");
    eprintln!("{} pictures renewed, {total} bytes", seen.len());
}

#[test]
fn another_page_a_shift_and_a_lost_table_are_noticed() {
    let mark = |name: &str, top: f64, wide: f64| (name.to_owned(), 16.0, top, wide);
    let before = [
        mark("h1", 60.0, 358.0),
        mark("form#enter", 400.0, 358.0),
        mark("table.verdicts", 900.0, 358.0),
    ];
    assert!(moved(&before, &before, 390.0).is_empty());
    let other_letters = [
        mark("h1", 66.0, 358.0),
        mark("form#enter", 470.0, 358.0),
        mark("table.verdicts", 1080.0, 358.0),
    ];
    assert!(moved(&before, &other_letters, 390.0).is_empty());
    assert_eq!(
        moved(&before, &before[..2], 390.0).len(),
        1,
        "the table is gone"
    );
    let swapped = [
        before[0].clone(),
        mark("table.verdicts", 200.0, 358.0),
        mark("form#enter", 900.0, 358.0),
    ];
    assert!(
        !moved(&before, &swapped, 390.0).is_empty(),
        "what comes first comes second"
    );
    let wide = [
        before[0].clone(),
        before[1].clone(),
        mark("table.verdicts", 900.0, 700.0),
    ];
    assert_eq!(
        moved(&before, &wide, 390.0).len(),
        1,
        "it falls off the right"
    );
    let shot = |of: &dyn Fn(usize, usize) -> bool| Picture {
        width: 390,
        dots: (0..390 * 840)
            .map(|k| {
                if of(k % 390, k / 390) {
                    [20; 3]
                } else {
                    [245; 3]
                }
            })
            .collect(),
    };
    let lines = shot(&|x, y| y % 60 < 12 && x < 300);
    let block = shot(&|x, y| (300..600).contains(&y) && (100..250).contains(&x));
    assert!(alike(&lines.gist(), &lines.gist()) > 0.999);
    assert!(alike(&lines.gist(), &block.gist()) < ALIKE);
    let again = Picture::read(&lines.small());
    assert!(
        alike(&lines.gist(), &again.gist()) > 0.99,
        "small is the same to the eye"
    );
}
