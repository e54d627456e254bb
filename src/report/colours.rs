//! Says how the readiness report looks: two sets of colours, patterns, and where a page may break.
//!
//! Every colour is declared once for light and once for dark, so that a test can compute the contrast of each pair. Dark is
//! for screens alone: paper is always the light set. No size of paper is set, so the pages are those of whoever prints, A4
//! or Letter. The faces are inside the file, because it asks for nothing.

use std::sync::LazyLock;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

use super::face::{BOLD, REGULAR};

const LIGHT: &str = "--ground:#ffffff;--panel:#f3f1ea;--ink:#101b23;--quiet:#414e58;--line:#767066;--link:#00457a;\
    --bar:#005a91;--past:#8a3d00;--ready:#12593a;--slow:#7a4a00;--bad:#9b2423";
const DARK: &str = "--ground:#0f181e;--panel:#1b2730;--ink:#f6f1e6;--quiet:#b6c3cb;--line:#7d909d;--link:#a5d4f7;\
    --bar:#7cc0ef;--past:#fbb124;--ready:#6fcf9f;--slow:#fbb124;--bad:#ff9d94";

/// Red, green and blue of a colour of the light set, by its name there.
pub(super) fn on_paper(name: &str) -> [u8; 3] {
    let colours = LIGHT.split(';').filter_map(|it| {
        let (declared, value) = it.trim().split_once(':')?;
        let value = value.strip_prefix('#')?;
        (declared.strip_prefix("--") == Some(name)).then_some(value)
    });
    let value = colours
        .filter_map(|it| u32::from_str_radix(it, 16).ok())
        .next();
    let [_, red, green, blue] = value.unwrap_or(0).to_be_bytes();
    [red, green, blue]
}

/// What is drawn more than once: the signs of the grades, the stripes, the crosses.
pub(super) const SHAPES: &str = "<svg class=\"shapes\" aria-hidden=\"true\" width=\"0\" height=\"0\">\n<defs>\n\
    <pattern id=\"stripes\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate(45)\">\
    <rect class=\"under\" width=\"6\" height=\"6\"/><rect class=\"past\" width=\"3\" height=\"6\"/></pattern>\n\
    <pattern id=\"crosses\" width=\"7\" height=\"7\" patternUnits=\"userSpaceOnUse\">\
    <rect class=\"under\" width=\"7\" height=\"7\"/><path class=\"cross\" d=\"M0 0l7 7M7 0l-7 7\"/></pattern>\n\
    <pattern id=\"coming\" width=\"5\" height=\"5\" patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate(-45)\">\
    <rect class=\"under\" width=\"5\" height=\"5\"/><rect class=\"bar-ink\" width=\"1.6\" height=\"5\"/></pattern>\n\
    <symbol id=\"ready\" viewBox=\"0 0 32 20\"><rect class=\"edge\" x=\"1\" y=\"1\" width=\"30\" height=\"18\"/>\
    <path class=\"tick\" d=\"M9 10l5 5 9-10\"/></symbol>\n\
    <symbol id=\"slow\" viewBox=\"0 0 32 20\"><rect class=\"edge striped\" x=\"1\" y=\"1\" width=\"30\" height=\"18\"/></symbol>\n\
    <symbol id=\"not-ready\" viewBox=\"0 0 32 20\"><rect class=\"edge full\" x=\"1\" y=\"1\" width=\"30\" height=\"18\"/>\
    <path class=\"no\" d=\"M10 4l12 12M22 4l-12 12\"/></symbol>\n</defs>\n</svg>\n";

const STYLE: &str = "\
*{box-sizing:border-box}\n\
html{color-scheme:light dark}\n\
body{margin:0 auto;max-width:62rem;padding:1rem;font-family:\"Card\",sans-serif;line-height:1.4;color:var(--ink);\
background:var(--ground)}\n\
h1,h2,h3,p,ul,dl,dd,figure{margin:0;padding:0}\n\
h1{font-size:1.9rem;line-height:1.2;margin:.2rem 0 .6rem;overflow-wrap:anywhere}\n\
h2{font-size:1.35rem;line-height:1.25;margin:2.2rem 0 .6rem;border-top:.15rem solid var(--ink);padding-top:.5rem}\n\
h3{font-size:1.25rem;line-height:1.25;overflow-wrap:anywhere}\n\
a{color:var(--link)}\n\
a:focus-visible,.wide:focus-visible{outline:.2rem solid var(--link);outline-offset:.15rem}\n\
.kicker{font-weight:bold}\n.mark{display:inline-block;margin-bottom:.6rem;border:.12rem solid var(--ink);padding:0 .5em;font-weight:bold}\n\
.counts,.legend{list-style:none;display:flex;flex-wrap:wrap;gap:.3rem 1.8rem}\n.counts{font-size:1.15rem;font-weight:bold}\n\
.legend{color:var(--quiet);margin:.2rem 0 .8rem;display:block}\n\
.grade{font-weight:bold;white-space:nowrap;margin-right:.3em}\n\
.grade svg{width:2em;height:1.25em;vertical-align:-.28em;margin-right:.5em}\n\
.cautions{padding-left:1.2rem}\n.cautions li{margin:.2rem 0}\n.cautions li:first-child{font-weight:bold}\n\
dl{display:grid;grid-template-columns:repeat(auto-fill,minmax(13rem,1fr));gap:.6rem 1.5rem}\n\
dt{color:var(--quiet);font-size:.9rem}\ndd{font-weight:bold;overflow-wrap:anywhere}\n\
table{border-collapse:collapse;width:100%;margin:.3rem 0 1rem}\n\
caption{text-align:left;color:var(--quiet);padding:.2rem 0 .4rem;max-width:min(48rem,100vw - 2rem)}\n\
article caption,h4{font-weight:bold;color:var(--ink)}\n\
th,td{text-align:left;vertical-align:top;padding:.35rem .8rem .35rem 0;border-bottom:.06rem solid var(--line);\
overflow-wrap:break-word;min-width:3.2rem}\n\
thead th{border-bottom:.12rem solid var(--ink);vertical-align:bottom}\ntbody th{font-weight:bold}\n\
.n{text-align:right;font-variant-numeric:tabular-nums}\n.n+:not(.n){padding-left:1.2rem}\n\
.wide{overflow-x:auto}\n\
article{margin:0 0 2.6rem;padding-top:1rem;border-top:.06rem solid var(--line)}\n\
.top>p,article>p{margin:.25rem 0}\n.where,.back,.note{color:var(--quiet)}\narticle dl{margin:.8rem 0}\n\
.assumed{font-weight:bold}\n\
figure{margin:.6rem 0}\nfigure svg{display:block;width:100%;min-width:40rem}\n\
.shapes{position:absolute}\n\
svg text{font-size:13px;fill:var(--ink);paint-order:stroke;stroke:var(--ground);stroke-width:4px;stroke-linejoin:round}\n\
svg .e{text-anchor:end}\nsvg .m{text-anchor:middle}\nsvg .h{fill:var(--quiet)}\nsvg .s{font-weight:bold}\n\
.grid,.axis{stroke:var(--line);fill:none}\n.grid{stroke-width:.8}\n.axis{stroke-width:1.2}\n\
.bar{stroke:none}\n.within,.bar-ink{fill:var(--bar)}\n.past{fill:url(#stripes)}\n.never{fill:url(#crosses)}\n\
pattern .past{fill:var(--past)}\n.under{fill:var(--ground)}\n.cross{stroke:var(--bad);stroke-width:1.6;fill:none}\n\
.bar.past,.bar.never{stroke-width:1}\n.bar.past{stroke:var(--past)}\n.bar.never{stroke:var(--bad)}\n\
.curve{fill:none;stroke:var(--ink);stroke-width:2.2;stroke-linejoin:round}\n\
.contact,.likely,.bad-day,.target,.ends{fill:none;stroke:var(--ink);stroke-width:1.2}\n\
.contact{stroke-dasharray:1.5 3}\n.bad-day{stroke-dasharray:6 3}\n.target{stroke-width:3}\n.ends{stroke:var(--line);stroke-width:2}\n\
.sign{fill:var(--ground);stroke:var(--ink);stroke-width:2}\n\
.band{stroke:var(--bar);stroke-width:1.2}\n.first{fill:var(--bar)}\n.coming{fill:url(#coming)}\n\
.notch{fill:var(--ink);stroke:var(--ink);stroke-width:2.4;stroke-linejoin:round}\n\
.edge{fill:var(--ground);stroke:var(--ready);stroke-width:2}\n.tick{fill:none;stroke:var(--ready);stroke-width:3}\n\
.edge.striped{fill:url(#stripes);stroke:var(--slow)}\n.edge.full{fill:var(--bad);stroke:var(--bad)}\n\
.no{fill:none;stroke:var(--ground);stroke-width:3.4}\n\
footer{margin-top:2.5rem;border-top:.06rem solid var(--line);padding-top:.6rem;color:var(--quiet);font-size:.9rem}\n";

const PRINT: &str = "@media print{\n\
*{-webkit-print-color-adjust:exact;print-color-adjust:exact}\n\
@page{margin:13mm 12mm}\n\
html{font-size:9.5pt}\nbody{max-width:none;padding:0}\n.back{display:none}\na{color:inherit;text-decoration:none}\n\
.wide{overflow:visible}\nfigure svg{min-width:0}\n\
h2,h3,caption,thead{break-after:avoid}\nthead{display:table-header-group}\n\
tr,li,.top,dl>div,.cautions,article table{break-inside:avoid}\narticle{margin-bottom:1.4rem}\narticle dl{margin:.4rem 0}\ndl{grid-template-columns:repeat(4,1fr)}\n\
figure svg{width:88%}\nth,td{padding-top:.15rem;padding-bottom:.15rem}\ntable{margin-bottom:.6rem}\np{orphans:3;widows:3}\n}\n";

/// What is drawn more than once in the report on drills: specks, through which lines and marks below are seen.
pub(super) const SPECKS: &str = "<svg class=\"shapes\" aria-hidden=\"true\" width=\"0\" height=\"0\">\n<defs>\n\
    <pattern id=\"sure\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\">\
    <circle class=\"speck\" cx=\"3\" cy=\"3\" r=\".9\"/></pattern>\n</defs>\n</svg>\n";

/// The head that every page repeats. It is a table's, because that is what all browsers repeat on paper; on a screen it stays
/// where it is while the rest goes by.
pub(super) const EVERY_PAGE: &str = "\
.every-page{position:sticky;top:0;z-index:1;background:var(--ground);border-bottom:.2rem solid var(--ink);padding:.3rem 0;\
margin-bottom:.8rem}\n.every-page p{font-weight:bold}\n\
[id]{scroll-margin-top:5rem}\n\
@media print{\n.sheet{display:table;table-layout:fixed;width:100%}\n\
.every-page{display:table-header-group;position:static;break-inside:avoid}\n\
.every-page p{display:table-cell;border-bottom:.2rem solid var(--ink);padding-bottom:.4rem}\n\
.all{display:table-row-group}\n.cell{display:table-cell;padding-top:.6rem}\n}\n";

/// What the report on drills adds to the sheet.
pub(super) const LEARNING: &str = "\
.left-out{padding-left:1.2rem}\n.whose th{padding-top:.9rem;overflow-wrap:anywhere}\n\
.pair{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(100%,22rem),1fr));gap:.6rem 1.6rem}\n\
.pair figure{min-width:0;max-width:36rem}\n.pair figure>svg{min-width:0}\nfigcaption{font-weight:bold}\n\
.key{list-style:none;color:var(--quiet);font-size:.9rem}\n.key li{display:flex;gap:.5em;align-items:center}\n\
.key svg{flex:none;width:1.9rem;height:1.14rem;min-width:0}\n\
.ended{fill:var(--ground);stroke:var(--ink);stroke-width:1.8}\n\
.broken-off{fill:none;stroke:var(--bad);stroke-width:1.8;stroke-linejoin:round}\n\
.quartiles,.limits{fill:url(#coming);stroke:none}\n.median{fill:none;stroke:var(--ink);stroke-width:2.2}\n\
.trend{fill:none;stroke:var(--past);stroke-width:2.2;stroke-dasharray:7 4}\n\
.fan{fill:url(#sure);stroke:var(--past);stroke-width:1}\n.speck{fill:var(--past)}\n\
@media print{\n.pair{grid-template-columns:1fr 1fr}\n.pair figure>svg{width:100%}\narticle{break-inside:avoid}\n}\n";

/// The whole style sheet; encoding the faces takes longest, so that is done once.
pub(super) static SHEET: LazyLock<String> = LazyLock::new(|| {
    let face = |bytes: &[u8], weight: &str| {
        let data = STANDARD.encode(bytes);
        format!(
            "@font-face{{font-family:\"Card\";font-weight:{weight};src:url(data:font/otf;base64,{data}) format(\"opentype\")}}\n"
        )
    };
    [
        face(REGULAR, "normal"),
        face(BOLD, "bold"),
        format!(":root{{{LIGHT}}}\n"),
        format!("@media screen and (prefers-color-scheme:dark){{:root{{{DARK}}}}}\n"),
        STYLE.to_owned(),
        PRINT.to_owned(),
    ]
    .concat()
});
