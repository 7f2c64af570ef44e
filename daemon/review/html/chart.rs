//! The chart of the passage and the small ones of the casualties.

use super::axis::Axis;
use super::projection::Projection;
use super::svg::{STEPS, Svg, Xy, short};
use super::symbols;
use crate::review::night::{Approach, Casualty, OwnPoint};
use crate::review::passage::GAP_S;
use crate::review::print::{bearing, who};
use crate::review::when::When;
use crate::review::{Alert, Night, Occurrence};
use maud::Markup;
use record::Call;
use rules::Priority;
use terms::Position;
use terms::ShipTime;

/// Positions nearer than this on the paper count as one.
const NEAR: f64 = 0.4;
/// Most places marked where alerts were raised; the most urgent come first.
const MARKS: usize = 300;
/// Marks nearer than this on the paper would overlap.
const ONE_MARK: f64 = 12.0;
/// Most alerts described at one mark; the others are counted.
const GATHERED: usize = 5;
/// A casualty's own chart covers this long before and after it.
const AROUND_S: f64 = 120.0;
/// Steps of the graticule in minutes of arc.
const STEPS_MIN: [f64; 16] =
    [0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1200.0, 1800.0];
/// The labels so far: one that would cover another is moved, or left out.
#[derive(Default)]
struct Labels {
    /// Times need their day.
    dated: bool,
    taken: Vec<[f64; 4]>,
    /// Class, place, anchor and text: drawn last, over everything else.
    texts: Vec<(&'static str, Xy, &'static str, String)>,
}

impl Labels {
    fn take(&mut self, b: [f64; 4]) -> bool {
        let free = self.taken.iter().all(|t| b[2] < t[0] || b[0] > t[2] || b[3] < t[1] || b[1] > t[3]);
        if free {
            self.taken.push(b);
        }
        free
    }

    /// Writes the labels.
    fn write(self, svg: &mut Svg) {
        self.texts.iter().for_each(|(class, xy, anchor, text)| svg.text(class, *xy, anchor, text));
    }

    /// Keeps a symbol's place free of labels.
    fn keep(&mut self, (x, y): Xy, r: f64) {
        self.taken.push([x - r, y - r, x + r, y + r]);
    }

    fn put(&mut self, p: &Projection, class: &'static str, (x, y): Xy, text: &str) {
        // Allows for a capital or two, which are wider than most letters.
        let wide = text.chars().count() as f64 * 6.6 + 8.0;
        for (dx, dy, anchor) in
            [(12.0, 4.0, "start"), (-12.0, 4.0, "end"), (0.0, -13.0, "middle"), (0.0, 21.0, "middle")]
        {
            let left = match anchor {
                "start" => x + dx,
                "end" => x + dx - wide,
                _ => x - wide / 2.0,
            };
            let bounds = [left, y + dy - 11.0, left + wide, y + dy + 3.0];
            let inside =
                bounds[0] > 2.0 && bounds[2] < p.width - 2.0 && bounds[1] > 2.0 && bounds[3] < p.height - 2.0;
            if inside && self.take(bounds) {
                self.texts.push((class, (x + dx, y + dy), anchor, text.to_owned()));
                return;
            }
        }
    }
}

/// The chart of the passage; `None` without a position.
pub(super) fn passage(night: &Night, axis: &Axis, ship: ShipTime) -> Option<Markup> {
    let drawn: Vec<&Approach> = night.approaches.iter().filter(|a| !a.track.is_empty()).collect();
    let mut points: Vec<Position> = night.own.iter().filter_map(|o| o.position).collect();
    points.extend(night.casualties.iter().flat_map(|c| c.track.iter().map(|(_, q, _)| *q)));
    // Distant ships would shrink the passage.
    points.extend(drawn.iter().filter(|a| a.range_nm <= 3.0).filter_map(|a| a.position));
    let p = Projection::fit(&points, 1000.0, (460.0, 900.0), 2.0)?;
    let description = format!(
        "{} chart, {} by {} nautical miles. Own track from {} to {}; {} ships near their closest point, {} alerts and {} casualties are marked.",
        p.name(),
        short(p.width / p.per_nm()),
        short(p.height / p.per_nm()),
        night.from.label(night.is_dated()),
        night.to.label(night.is_dated()),
        drawn.len(),
        night.alerts.len(),
        night.casualties.len()
    );
    let mut svg = Svg::default();
    svg.rect("sea", (0.0, 0.0), p.width, p.height);
    let mut labels = Labels { dated: night.is_dated(), ..Labels::default() };
    graticule(&mut svg, &p, &mut labels);
    own_track(&mut svg, &p, &night.own);
    let hours = ticks(&mut svg, &p, night, axis);
    night.casualties.iter().for_each(|c| casualty(&mut svg, &p, &mut labels, c));
    night.calls().iter().for_each(|(at, c)| call(&mut svg, &p, &mut labels, at, c));
    approaches(&mut svg, &p, &mut labels, &drawn);
    alerts(&mut svg, &p, &mut labels, night);
    ends(&mut svg, &p, &mut labels, night, ship);
    hours.iter().for_each(|(xy, text)| labels.put(&p, "hour", *xy, text));
    scale_bar(&mut svg, &p);
    labels.write(&mut svg);
    Some(svg.finish("chart", (p.width, p.height), "Chart of the passage", &description))
}

/// The chart of one casualty; `None` where no position was known.
pub(super) fn of_casualty(night: &Night, c: &Casualty) -> Option<Markup> {
    let first = c.raised.or(c.track.first().map(|(at, ..)| *at))?;
    let last =
        c.stood_down.as_ref().map(|(at, _)| *at).or(c.track.last().map(|(at, ..)| *at)).unwrap_or(first);
    let near = |at: &When| {
        at.seconds_from(&first).is_some_and(|s| s > -AROUND_S)
            && at.seconds_from(&last).is_some_and(|s| s < AROUND_S)
    };
    let own: Vec<OwnPoint> = night.own.iter().filter(|o| near(&o.at)).copied().collect();
    let mut points: Vec<Position> = own.iter().filter_map(|o| o.position).collect();
    let fixes: Vec<Position> = c.track.iter().map(|(_, q, _)| *q).collect();
    points.extend(&fixes);
    let p = Projection::fit(&points, 620.0, (330.0, 520.0), 0.2)?;
    let title = format!("Chart of casualty {}", c.id);
    let text = format!(
        "Own track around the casualty, {} positions of it, {} miles across.",
        fixes.len(),
        short(p.width / p.per_nm())
    );
    let mut svg = Svg::default();
    svg.rect("sea", (0.0, 0.0), p.width, p.height);
    let mut labels = Labels { dated: night.is_dated(), ..Labels::default() };
    graticule(&mut svg, &p, &mut labels);
    own_track(&mut svg, &p, &own);
    let drift: Vec<_> = fixes.iter().map(|q| Some(p.xy(*q))).collect();
    svg.track("drift", &drift);
    drift.iter().flatten().for_each(|xy| svg.circle("dot", *xy, 1.6));
    let own_at = |at: &When| {
        let n = own.partition_point(|o| o.at < *at).min(own.len().saturating_sub(1));
        own.get(n).and_then(|o| o.position)
    };
    let mut named = vec![(first, "raised")];
    named.extend(c.nearest.map(|(at, _)| (at, "nearest")));
    named.extend(c.stood_down.as_ref().map(|(at, _)| (*at, "stood down")));
    casualty(&mut svg, &p, &mut labels, c);
    for (at, what) in named {
        if let Some(q) = own_at(&at) {
            let xy = p.xy(q);
            svg.circle("tick", xy, 3.5);
            labels.keep(xy, 5.0);
            labels.put(&p, "label", xy, &format!("{} {what}", at.label_s(labels.dated)));
        }
    }
    scale_bar(&mut svg, &p);
    labels.write(&mut svg);
    Some(svg.finish(&format!("casualty{}", c.id), (p.width, p.height), &title, &text))
}

/// Parallels and meridians with their numbers at the left and lower edge.
fn graticule(svg: &mut Svg, p: &Projection, labels: &mut Labels) {
    let (latitude, longitude) = (p.middle().latitude_deg(), p.middle().longitude_deg());
    let (reach_lat, reach_lon) = p.reach_deg();
    let tall_min = p.height / p.per_nm();
    let step_of =
        |span_min: f64| STEPS_MIN.iter().copied().rfind(|s| span_min / s >= 3.0).unwrap_or(STEPS_MIN[0]);
    let lat_step = step_of(tall_min) / 60.0;
    let cos = latitude.to_radians().cos().max(0.02);
    let lon_step = step_of(p.width / p.per_nm() / cos) / 60.0;
    let whole = |from: f64, to: f64, step: f64| {
        let first = (from / step).ceil() as i64;
        (first..first + 80).map(move |n| n as f64 * step).take_while(move |v| *v <= to)
    };
    let samples = |from: f64, to: f64| (0..=90).map(move |n| from + (to - from) * f64::from(n) / 90.0);
    let (south, north) = ((latitude - reach_lat).max(-89.9), (latitude + reach_lat).min(89.9));
    let (west, east) = (longitude - reach_lon, longitude + reach_lon);
    let at = |lat: f64, lon: f64| {
        Position::new(lat, (lon + 180.0).rem_euclid(360.0) - 180.0).ok().map(|q| p.xy(q))
    };
    for lat in whole(south, north, lat_step) {
        let line: Vec<_> =
            samples(west, east).map(|lon| at(lat, lon).filter(|xy| near_paper(p, *xy))).collect();
        let text = degrees(lat, lat_step, 'N', 'S');
        graticule_line(svg, p, labels, &line, &text, true);
    }
    for lon in whole(west, east, lon_step) {
        let line: Vec<_> =
            samples(south, north).map(|lat| at(lat, lon).filter(|xy| near_paper(p, *xy))).collect();
        let text = degrees((lon + 180.0).rem_euclid(360.0) - 180.0, lon_step, 'E', 'W');
        graticule_line(svg, p, labels, &line, &text, false);
    }
}

/// Whether two marks would overlap.
fn near(a: Xy, b: Xy) -> bool {
    (a.0 - b.0).hypot(a.1 - b.1) < ONE_MARK
}

/// Whether a point lies on the paper or near it; nothing is drawn farther off.
fn near_paper(p: &Projection, (x, y): Xy) -> bool {
    (-p.width..=2.0 * p.width).contains(&x) && (-p.height..=2.0 * p.height).contains(&y)
}

fn graticule_line(
    svg: &mut Svg,
    p: &Projection,
    labels: &mut Labels,
    line: &[Option<Xy>],
    text: &str,
    parallel: bool,
) {
    if p.is_mercator() {
        // A straight line needs only its ends.
        let known = || line.iter().flatten();
        let ends: Vec<_> =
            known().next().into_iter().chain(known().next_back()).map(|xy| Some(*xy)).collect();
        svg.track("graticule", &ends);
        let Some(Some((x, y))) = ends.first() else { return };
        let xy = if parallel { (4.0, y - 3.0) } else { (x + 3.0, p.height - 5.0) };
        edge_label(svg, p, labels, xy, text);
    } else {
        svg.track("graticule", line);
        let inside = line.iter().flatten().find(|xy| p.holds(**xy));
        if let Some((x, y)) = inside {
            edge_label(svg, p, labels, (x + 3.0, y - 3.0), text);
        }
    }
}

fn edge_label(svg: &mut Svg, p: &Projection, labels: &mut Labels, (x, y): Xy, text: &str) {
    let wide = text.chars().count() as f64 * 6.0;
    if x >= 0.0
        && x + wide <= p.width
        && y >= 12.0
        && y <= p.height
        && labels.take([x, y - 10.0, x + wide, y + 2.0])
    {
        svg.text("degree", (x, y), "start", text);
    }
}

/// 50°10′N; tenths of minutes only where the step needs them.
fn degrees(deg: f64, step_deg: f64, plus: char, minus: char) -> String {
    let tenths = (deg.abs() * 600.0).round() as i64;
    let (d, m, t) = (tenths / 600, tenths % 600 / 10, tenths % 10);
    let side = if tenths == 0 { String::new() } else { (if deg < 0.0 { minus } else { plus }).to_string() };
    match step_deg * 60.0 {
        s if s < 0.95 => format!("{d}°{m:02}.{t}′{side}"),
        s if s < 59.0 => format!("{d}°{m:02}′{side}"),
        _ => format!("{d}°{side}"),
    }
}

/// Own ship's past track is a thick line (SN.1/Circ.243); gaps are dashed.
fn own_track(svg: &mut Svg, p: &Projection, own: &[OwnPoint]) {
    let (mut line, mut gaps) = (Vec::new(), Vec::new());
    let mut before: Option<(When, Xy)> = None;
    let mut drawn = (f64::NAN, f64::NAN);
    for o in own {
        let Some(position) = o.position else { continue };
        let xy = p.xy(position);
        match before {
            Some((at, from)) if o.at.seconds_from(&at).is_none_or(|s| s > GAP_S) => {
                line.push(Some(from));
                line.push(None);
                gaps.extend([Some(from), Some(xy), None]);
                line.push(Some(xy));
                drawn = xy;
            }
            // At first `drawn` is not a number, and nothing is near it.
            _ if (xy.0 - drawn.0).hypot(xy.1 - drawn.1) < NEAR => {}
            _ => {
                line.push(Some(xy));
                drawn = xy;
            }
        }
        before = Some((o.at, xy));
    }
    line.extend(before.map(|(_, xy)| Some(xy)));
    svg.track("gap", &gaps);
    svg.track("track", &line);
}

/// Marks own track at whole hours, and gives each mark's place and time.
fn ticks(svg: &mut Svg, p: &Projection, night: &Night, axis: &Axis) -> Vec<(Xy, String)> {
    let mut known = night.own.iter().filter_map(|o| Some((axis.ms(&o.at), o.position?))).peekable();
    let mut ticks = Vec::new();
    for (_, mark) in axis.marks(12, ShipTime { minutes: 0 }) {
        let Some(utc) = mark.utc else { continue };
        while known.next_if(|(ms, _)| *ms < utc.0).is_some() {}
        let Some((ms, position)) = known.peek() else { break };
        // The hour falls in a gap.
        if ms - utc.0 > 60_000 {
            continue;
        }
        let xy = p.xy(*position);
        svg.circle("tick", xy, 3.0);
        ticks.push((xy, if axis.needs_date() { mark.day_hm() } else { mark.hm() }));
    }
    ticks
}

fn ends(svg: &mut Svg, p: &Projection, labels: &mut Labels, night: &Night, ship: ShipTime) {
    if let Some((at, position)) = night.passage.from {
        let xy = p.xy(position);
        labels.put(p, "label", xy, &format!("{} begins", at.label(labels.dated)));
    }
    if let Some((at, position)) = night.passage.to {
        let xy = p.xy(position);
        let hint = format!(
            "Own vessel at {} UTC, {} ship's time, {position}",
            at.label_s(labels.dated),
            at.by(ship).hm()
        );
        symbols::own_ship(svg, xy, &hint);
        labels.keep(xy, 8.0);
        labels.put(p, "label", xy, &format!("{} own vessel", at.label(labels.dated)));
    }
}

/// Ships at their closest. Where several would overlap, one is drawn and the others are counted beside it: first those
/// that raised an alert, then the nearest.
fn approaches(svg: &mut Svg, p: &Projection, labels: &mut Labels, drawn: &[&Approach]) {
    let mut places: Vec<(Xy, &Approach, usize)> = Vec::new();
    let mut sorted = drawn.to_vec();
    sorted.sort_by_key(|a| a.alert.is_none());
    for a in sorted {
        let Some(xy) = a.position.map(|q| p.xy(q)).filter(|xy| p.holds(*xy)) else { continue };
        match places.iter_mut().find(|(at, ..)| near(*at, xy)) {
            Some((.., more)) => *more += 1,
            None => places.push((xy, a, 0)),
        }
    }
    places.iter().for_each(|(xy, a, more)| approach(svg, p, labels, a, *xy, *more));
}

/// A ship where it was closest, with its positions a quarter of an hour before and after.
fn approach(svg: &mut Svg, p: &Projection, labels: &mut Labels, a: &Approach, xy: Xy, more: usize) {
    let Some(position) = a.position else { return };
    let path: Vec<_> = a
        .track
        .iter()
        .map(|(_, q)| Some(p.xy(*q)))
        .filter(|xy| xy.is_some_and(|xy| near_paper(p, xy)))
        .collect();
    svg.track("past", &path);
    path.iter().flatten().for_each(|xy| svg.circle("dot", *xy, 1.4));
    let name = who(a.name.as_deref(), a.mmsi);
    let hint = format!(
        "{name} at {} UTC: {:.2} nm off{}{}",
        a.at.label_s(labels.dated),
        a.range_nm,
        a.bearing_deg.map_or(String::new(), |b| format!(" in {}", bearing(b))),
        if more > 0 { format!("; {more} more here") } else { String::new() }
    );
    symbols::target(svg, xy, a.cog_deg.map(|c| p.turned(position, c)), a.alert.is_some(), &hint);
    labels.keep(xy, 7.0);
    let text = format!("{name} {} {:.1} nm", a.at.label(labels.dated), a.range_nm);
    labels.put(p, "label", xy, &if more > 0 { format!("{text} +{more}") } else { text });
}

fn alerts(svg: &mut Svg, p: &Projection, labels: &mut Labels, night: &Night) {
    let mut marked: Vec<_> = night
        .alerts
        .iter()
        .filter(|a| a.priority > Priority::Notice && a.casualty.is_none())
        .filter_map(|a| Some((a, a.history.first()?, a.history.first()?.own?)))
        .collect();
    marked.sort_by_key(|(a, ..)| std::cmp::Reverse(a.priority));
    // Each place with its alerts, the most urgent first.
    type Place<'a> = (Xy, Vec<(&'a Alert, &'a Occurrence)>);
    let mut places: Vec<Place<'_>> = Vec::new();
    for (a, first, own) in marked {
        let xy = p.xy(own);
        let room = places.len() < MARKS;
        match places.iter_mut().find(|(at, _)| near(*at, xy)) {
            Some((_, there)) => there.push((a, first)),
            None if room => places.push((xy, vec![(a, first)])),
            None => {}
        }
    }
    for (xy, there) in places {
        let Some((first, _)) = there.first() else { continue };
        let line = |(a, first): &(&Alert, &Occurrence)| {
            format!(
                "{} {}: {} at {} UTC: {}",
                a.priority,
                a.id,
                a.order,
                first.at.label_s(labels.dated),
                first.text
            )
        };
        let mut hint = there.iter().take(GATHERED).map(line).collect::<Vec<_>>().join("; ");
        if there.len() > GATHERED {
            hint += &format!("; and {} more here", there.len() - GATHERED);
        }
        symbols::event_mark(svg, xy, symbols::class(first.priority), &hint);
        labels.keep(xy, 6.0);
        let more = if there.len() > 1 { format!(" +{}", there.len() - 1) } else { String::new() };
        labels.put(p, "label", xy, &format!("{}{}{more}", symbols::letter(first.priority), first.id));
    }
}

/// What a station told of by radio with a position.
fn call(svg: &mut Svg, p: &Projection, labels: &mut Labels, at: &When, call: &Call) {
    let Some(position) = call.position() else { return };
    let xy = p.xy(position);
    // One far off must not shrink the passage.
    if !(0.0..=p.width).contains(&xy.0) || !(0.0..=p.height).contains(&xy.1) {
        return;
    }
    symbols::event_mark(
        svg,
        xy,
        symbols::class(Priority::Notice),
        &format!("{} UTC: {}", at.label_s(labels.dated), call.words()),
    );
    labels.keep(xy, 6.0);
    labels.put(p, "label", xy, &format!("call {}", call.number.0));
}

fn casualty(svg: &mut Svg, p: &Projection, labels: &mut Labels, c: &Casualty) {
    let Some((at, position, how)) = &c.first_position else { return };
    let xy = p.xy(*position);
    let hint = format!("{} overboard, first position at {} UTC, {how}", c.who, at.label_s(labels.dated));
    // A casualty without a beacon, reported by button, gets the mark of an event.
    if c.source == "button" {
        symbols::event_mark(svg, xy, "pe", &hint);
    } else {
        symbols::beacon(svg, xy, &hint);
    }
    labels.keep(xy, 9.0);
    labels.put(p, "label strong", xy, &format!("MOB {} {}", at.label(labels.dated), c.who));
}

/// A bar in the lower right corner. On a Mercator chart it is true at the latitude of the middle.
fn scale_bar(svg: &mut Svg, p: &Projection) {
    let per_nm = p.per_nm();
    let nm = STEPS.into_iter().rfind(|nm| nm * per_nm <= p.width / 4.0).unwrap_or(STEPS[0]);
    let (long, x, y) = (nm * per_nm, p.width - 14.0 - nm * per_nm, p.height - 30.0);
    svg.rect("paper", (x - 10.0, y - 22.0), long + 20.0, 38.0);
    svg.rect("bar", (x, y), long / 2.0, 5.0);
    svg.rect("bar open", (x + long / 2.0, y), long / 2.0, 5.0);
    let latitude = if p.is_mercator() {
        format!(" at {}", degrees(p.middle().latitude_deg(), 0.1, 'N', 'S'))
    } else {
        String::new()
    };
    svg.text("degree", (p.width - 14.0, y - 7.0), "end", &format!("{nm} nm{latitude}"));
}
