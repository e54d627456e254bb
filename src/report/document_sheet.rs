//! Says how a report looks in a browser and on the paper that a browser prints, beside what all reports share.
//!
//! No size of paper is set: rows keep together and heads repeat on whichever is in the printer, A4 or Letter. The code for a
//! camera stays dark on white in every theme, because many cameras read no other.

/// What a report adds to the sheet of all reports.
pub(super) const STYLE: &str = "\
html{scroll-padding-top:5rem}\n\
.every-page b{display:inline-block;border:.12rem solid var(--ink);padding:0 .5em;margin-right:.5em}\n\
.every-page .altered{background:var(--bad);border-color:var(--bad);color:var(--ground)}\n\
.every-page .name{font-weight:normal;float:right}\n\
nav ul{list-style:none;display:flex;flex-wrap:wrap;gap:.2rem 1.5rem}\nnav a{display:inline-block;padding:.45rem 0}\n\
h3{margin:1.3rem 0 .4rem}\n\
main p{margin:.4rem 0;max-width:48rem}\nmain p.loud{font-size:1.3rem;font-weight:bold}\n\
ul.points{padding-left:1.2rem;max-width:48rem}\n\
dl.facts{grid-template-columns:1fr;gap:0}\n\
dl.facts>div{display:grid;grid-template-columns:minmax(9rem,14rem) 1fr;gap:0 1.2rem;padding:.35rem 0;\
border-bottom:.06rem solid var(--line)}\n\
dl.facts dd{font-weight:normal}\ndl.facts dd b{font-size:1.1rem}\n\
.caution{border:.2rem solid var(--ink);padding:.2rem 1rem .6rem;margin:1.4rem 0}\n.caution h2{border:0;margin:.3rem 0}\n\
.caution ul{padding-left:1.2rem}\n.caution li{margin:.2rem 0}\n\
tr:target{outline:.2rem solid var(--link);outline-offset:-.1rem}\n\
tr.quiet th,tr.quiet td{color:var(--quiet);font-weight:normal}\n\
td{overflow-wrap:anywhere;min-width:5rem}\nth,.n{min-width:0}\n.n{white-space:nowrap}\n\
.groups code{font-family:inherit;font-variant-numeric:tabular-nums;display:flex;flex-wrap:wrap;gap:0 1em}\n\
.code svg{min-width:0;width:14rem;height:14rem;background:#fff;forced-color-adjust:none}\n\
.code figcaption{font-weight:normal;color:var(--quiet)}\n\
figcaption{font-weight:bold;padding-bottom:.3rem}\n\
@media (max-width:40rem){dl.facts>div{grid-template-columns:1fr}}\n\
@media print{\n\
nav{display:none}\n.caution,.code,.groups{break-inside:avoid}\n\
.code svg{width:36mm;height:36mm}\nfigure,figure svg{break-inside:avoid}\n\
figure svg.drawing{width:auto;max-width:100%;max-height:205mm;margin:0 auto}\n\
main p,ul.points{max-width:none}\nli,main p{orphans:3;widows:3}\n\
}\n";
