//! The board's map: photographs of both sides with the places on them, put there by clicking.

use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::Response;
use bench::pages::board::View;
use maud::{Markup, html};
use serde::Deserialize;
use store::record::event::{Face, Photo, Point, Site};
use store::record::{Entry, Event, Id, Work};

use super::enter::{choice, held, hidden, line, number, photos, unit};
use super::ledger::coded;
use super::{Bench, Frame, Looked, address, answer, blocking, missing, refused, version};
use crate::book::Unwritten;
use crate::entry::see;
use crate::form::Form;
use crate::outline::Edge;
use crate::{edge, outline, photo};

/// Which photograph is looked at, and what is to be placed next.
#[derive(Debug, Default, Deserialize)]
pub struct Wanted {
    #[serde(default)]
    photo: String,
    #[serde(default)]
    name: String,
}

/// Width in CSS pixels at which a photograph is shown where no script says another.
const WIDTH: f64 = 600.0;

/// The page.
pub async fn page(
    State(bench): State<Bench>,
    Path(name): Path<String>,
    Query(wanted): Query<Wanted>,
) -> Response {
    blocking(move || {
        let now = bench.now();
        let Some(board) = now.project.board(&name) else {
            return missing(&bench, &now.project, &name);
        };
        let looked = bench.look(&now, board);
        let view = &looked.view;
        let kept = bench.book.read();
        let photos = kept.work.photos(None, Some(&name));
        let chosen = photos
            .iter()
            .find(|(e, _)| e.id.as_str() == wanted.photo)
            .or(photos.last());
        let is_open = bench.book.closed().is_none();
        let main = html! {
            h1 { a href=(address(&name)) { (name) } " map" }
            @match chosen {
                None => p.answer { "No photograph of this board yet, and no outline" },
                Some((entry, photo)) => {
                    (choose(&name, &photos, entry))
                    (next(&looked))
                    (placing(&bench, &kept.work, &looked, (entry, photo), &wanted.name, is_open))
                }
            }
            @if is_open { (picture_forms(&name, view, chosen.is_none())) }
        };
        let title = format!("{name} map");
        answer(
            Frame {
                here: Some(&name),
                pulse: &format!("/pulse/map{}", address(&name)),
                version: &version(("map", looked.version(&now))),
                ..Frame::new(&bench, &now.project, &title, main)
            }
            .page(),
        )
    })
    .await
}

fn choose(board: &str, photos: &[(&Entry, &Photo)], chosen: &Entry) -> Markup {
    html! {
        nav.steps aria-label="Photographs" {
            @for (entry, photo) in photos {
                a.go href=(format!("{}/map?photo={}", address(board), entry.id)) aria-current=[(entry.id == chosen.id).then_some("true")] {
                    "unit " (photo.site.unit) ", " (photo.face.word()) " side" @if !photo.caption.is_empty() { ": " (photo.caption) }
                }
            }
        }
    }
}

/// The place that tells most now, with the lead that goes there.
fn sought(looked: &Looked) -> Vec<(&str, &str)> {
    looked.next().map_or_else(Vec::new, |(_, next)| {
        vec![(next.red.as_str(), "red"), (next.black.as_str(), "black")]
    })
}

fn next(looked: &Looked) -> Markup {
    html! {
        @if let Some((unit, next)) = looked.next() {
            p.figure-words { "Next to probe on unit " (unit) ": red on " strong { (next.red) } ", black on " strong { (next.black) } ", " (next.what) "." }
        }
    }
}

/// More photographs, and an outline where there is none yet.
fn picture_forms(board: &str, view: &View, is_first: bool) -> Markup {
    let back = format!("{}/map", address(board));
    let faces = [
        ("component", "component side"),
        ("solder", "solder side"),
        ("other", "other"),
    ];
    html! {
        details id="photograph" open[is_first] {
            summary { "Add a photograph" }
            form method="post" action="/entry" enctype="multipart/form-data" data-keep id="photograph-form" {
                (hidden("photo", &back)) (held("board", board))
                div.fields {
                    (unit(&view.units, ""))
                    (choice("face", "Side", &faces, "component"))
                    (line("caption", "What it shows", ""))
                    (photos("Photographs (JPEG or PNG)"))
                    button type="submit" { "Keep them" }
                }
            }
        }
        details id="outline" open[is_first] {
            summary { "Draw an outline instead" }
            form method="post" action=(back) data-keep id="outline-form" {
                (hidden("outline", &back)) (held("board", board))
                p { "Its shape, with a dot every 10 mm; places are put on it as on a photograph." }
                div.fields {
                    (unit(&view.units, ""))
                    (choice("face", "Side", &faces[..2], "component"))
                    (number("across", "Width in mm", ""))
                    (number("down", "Height in mm", ""))
                    label.field { span { "Edge connector" } select name="edge" { @for e in Edge::ALL { option value=(e.word()) { (e.word()) } } } }
                    button type="submit" { "Draw it" }
                }
            }
        }
    }
}

/// The photograph with its places, and the form by which a click places one more.
fn placing(
    bench: &Bench,
    work: &Work,
    looked: &Looked,
    (entry, picture): (&Entry, &Photo),
    name: &str,
    is_open: bool,
) -> Markup {
    let (board, places) = (looked.view.name.as_str(), &looked.view.places);
    let sought = sought(looked);
    let points = work.points(&entry.id);
    let is_placed = |n: &str| points.iter().any(|(_, p)| p.name == n);
    // Nets and points first, as they are what a probe is sent to; pins are placed where somebody wants them.
    let due: Vec<&String> = places
        .iter()
        .filter(|p| !p.contains('.') && !is_placed(p))
        .collect();
    let next = if name.is_empty() {
        due.first().map_or("", |p| p.as_str())
    } else {
        name
    };
    let at = format!("/photo/{}", picture.attachment);
    let back = format!("{}/map?photo={}", address(board), entry.id);
    let ratio = ratio(bench, picture).unwrap_or(0.75);
    html! {
        @if is_open {
            form.map method="post" action=(format!("{}/map", address(board))) data-map {
                (hidden("point", &back)) (held("photo", entry.id.as_str())) (held("width", &WIDTH.to_string()))
                label.field { span { "Place next" } input type="text" name="name" list="places" value=(next) required autocomplete="off" spellcheck="false"; }
                p.hint { @if due.is_empty() { "Every net and point is placed." } @else { (due.len()) " nets and points are not on it yet. Click where the place is." } }
                div.picture {
                    input type="image" name="at" src=(at) width=(WIDTH) alt="Click where the place is";
                    (marks_on(&points, ratio, &sought, true))
                }
                datalist id="places" { @for p in places { option value=(p) {} } }
            }
        } @else {
            div.picture { img src=(at) width=(WIDTH) alt=(format!("{board}, {} side", picture.face.word())); (marks_on(&points, ratio, &sought, true)) }
        }
        @if !points.is_empty() {
            details id="placed" { summary { (points.len()) " placed" }
                ul { @for (entry, point) in &points { li { (point.name) " " a.small href=(format!("/entry/{}", entry.id)) { "entry " (entry.number) } " " a.small href=(format!("{back}&name={}", coded(&point.name))) { "place it anew" } } } }
            }
        }
    }
}

/// Height over width.
fn ratio(bench: &Bench, picture: &Photo) -> Option<f64> {
    let found = bench.book.attachment(picture.attachment).ok()??;
    let (_, (width, height)) = photo::known(&found.bytes)?;
    Some(f64::from(height) / f64::from(width))
}

/// Rings with names; `sought` are drawn large, the others only if all are wanted.
fn marks_on(points: &[(&Entry, &Point)], ratio: f64, sought: &[(&str, &str)], all: bool) -> Markup {
    let height = 1000.0 * ratio;
    html! {
        svg.marks viewBox=(format!("0 0 1000 {height:.0}")) aria-hidden="true" {
            @for (_, p) in points {
                @let (x, y) = (p.x * 1000.0, p.y * height);
                @let role = sought.iter().find(|(name, _)| *name == p.name).map(|(_, role)| *role);
                @if all { circle.under cx=(one(x)) cy=(one(y)) r="10" {} circle.placed cx=(one(x)) cy=(one(y)) r="10" {} }
                @if let Some(role) = role {
                    circle.under cx=(one(x)) cy=(one(y)) r="34" {} circle.sought cx=(one(x)) cy=(one(y)) r="34" {}
                    text.under x=(one(x)) y=(one(y - 44.0)) text-anchor="middle" { (role) " " (p.name) }
                    text.sought-word x=(one(x)) y=(one(y - 44.0)) text-anchor="middle" { (role) " " (p.name) }
                } @else if all {
                    text.under x=(one(x)) y=(one(y - 16.0)) text-anchor="middle" { (p.name) }
                    text.placed-word x=(one(x)) y=(one(y - 16.0)) text-anchor="middle" { (p.name) }
                }
            }
        }
    }
}

fn one(x: f64) -> String {
    format!("{x:.1}")
}

/// The photographs on which the leads' places are, each with both marked; for the probe page.
pub fn beside(bench: &Bench, work: &Work, board: &str, red: &str, black: &str) -> Markup {
    let sought = [(red, "red"), (black, "black")];
    let shown: Vec<_> = work
        .photos(None, Some(board))
        .into_iter()
        .rev()
        .map(|(entry, photo)| (photo, work.points(&entry.id)))
        .filter(|(_, points)| points.iter().any(|(_, p)| p.name == red || p.name == black))
        .take(2)
        .collect();
    html! {
        @for (photo, points) in &shown {
            div.picture.beside {
                img src=(format!("/photo/{}", photo.attachment)) width=(WIDTH) alt=(format!("{board}, {} side: where the leads go", photo.face.word()));
                (marks_on(points, ratio(bench, photo).unwrap_or(0.75), &sought, false))
            }
        }
    }
}

/// Places a point where the photograph was clicked.
pub async fn post(State(bench): State<Bench>, Path(name): Path<String>, form: Form) -> Response {
    let write = match form.text("kind") {
        "outline" => draw,
        _ => place,
    };
    blocking(move || match write(&bench, &name, &form) {
        Ok(_) => {
            bench.bell.ring();
            see(form.back())
        }
        Err(why) => refused(&bench, &form, &why, StatusCode::UNPROCESSABLE_ENTITY),
    })
    .await
}

/// A fraction of a side, to what a click is worth.
fn near(fraction: f64) -> f64 {
    (fraction.clamp(0.0, 1.0) * 1e4).round() / 1e4
}

/// Draws an outline and keeps it like a photograph.
fn draw(bench: &Bench, board: &str, form: &Form) -> Result<Entry, Unwritten> {
    let side = |field: &'static str, what: &str| {
        let read = form.text(field).replace(',', ".").parse::<f64>().ok();
        // Chosen: from a postage stamp to a backplane.
        read.filter(|mm| (10.0..=1000.0).contains(mm))
            .ok_or_else(|| {
                let message = format!("The {what} of the board is not said.");
                Unwritten::field(field, message, "Write millimetres, 10 to 1000.")
            })
    };
    let (across, down) = (side("across", "width")?, side("down", "height")?);
    let edge = Edge::ALL
        .into_iter()
        .find(|e| e.word() == form.text("edge"))
        .unwrap_or(Edge::None);
    let now = bench.now();
    let unit = form.line("unit").filter(|unit| {
        let known = now.project.known_units();
        known.is_none_or(|all| all.contains(unit))
    });
    let unit = unit.ok_or_else(|| {
        let message = "It is not said which unit's board this is.";
        Unwritten::field("unit", message, "Choose one on the page.")
    })?;
    if now.project.board(board).is_none() {
        let message = format!("There is no board {board} in this project.");
        return Err(Unwritten::field(
            "board",
            message,
            "Add it on the bench page first.",
        ));
    }
    let picture = outline::draw(across, down, edge);
    let own = form
        .line("id")
        .and_then(|t| Id::new(&t))
        .unwrap_or_else(edge::fresh);
    let photo = Photo {
        site: Site {
            unit,
            board: Some(board.to_owned()),
        },
        face: Face::ALL
            .into_iter()
            .find(|f| f.word() == form.text("face"))
            .unwrap_or(Face::Component),
        caption: format!("outline, {across} by {down} mm"),
        attachment: bench.book.attach("image/png", picture)?,
    };
    bench
        .book
        .append(own, &form.author, |_| Ok(Event::Photo(photo)))
}

fn place(bench: &Bench, board: &str, form: &Form) -> Result<Entry, Unwritten> {
    let not_clicked = || {
        let message = "It is not said where on the photograph it is.";
        Unwritten::field("name", message, "Click on the photograph.")
    };
    let id = Id::new(form.text("photo")).ok_or_else(not_clicked)?;
    let picture = {
        let kept = bench.book.read();
        match kept.work.event(&id) {
            Some(Event::Photo(photo)) if photo.site.board.as_deref() == Some(board) => {
                photo.clone()
            }
            _ => return Err(not_clicked()),
        }
    };
    let number = |name: &str| {
        form.text(name)
            .parse::<f64>()
            .ok()
            .filter(|n| n.is_finite())
    };
    let width = number("width")
        .filter(|w| *w >= 1.0)
        .ok_or_else(not_clicked)?;
    let (x, y) = (
        number("at.x").ok_or_else(not_clicked)?,
        number("at.y").ok_or_else(not_clicked)?,
    );
    let height = width * ratio(bench, &picture).ok_or_else(not_clicked)?;
    let name = form.line("name").ok_or_else(|| {
        Unwritten::field(
            "name",
            "The place has no name.",
            "Write a net, a point or a part pin.",
        )
    })?;
    let point = Point {
        photo: id,
        name,
        x: near(x / width),
        y: near(y / height),
    };
    let own = form
        .line("id")
        .and_then(|t| Id::new(&t))
        .unwrap_or_else(edge::fresh);
    bench
        .book
        .append(own, &form.author, |_| Ok(Event::Point(point)))
}
