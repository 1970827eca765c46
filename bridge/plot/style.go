package plot

// Style is of pages with plots: their colours, what is around the plots, and their marks.
const Style = "\n" + colours + around + marks + printed

// Marks is of a page that has a style of its own: the colours of plots, and their marks.
const Marks = colours + marks

// colours are blue, orange and green tones that stay apart for the common kinds of colour blindness (our own choice
// after Okabe and Ito, 2008); every line also has a dash or shape of its own.
const colours = `:root{--paper:#fbfaf7;--sheet:#ffffff;--ink:#1d2327;--quiet:#5b646b;--rule:#d9d6cd;--truth:#0b5fa5;--believed:#b4500a;--afterwards:#c9853f;--interval:rgba(222,130,40,.20);--band:rgba(0,140,110,.13);--bandedge:#00795f;--test:#1d2327;--held:#8a2f86;--bar:#4c86b8;--cap:#a3360b;--bad:#a3160b;--knownband:rgba(11,95,165,.16)}
@media (prefers-color-scheme:dark){:root{--paper:#14181b;--sheet:#1c2226;--ink:#e9e6df;--quiet:#a3abb1;--rule:#384147;--truth:#6db6f2;--believed:#f0a35c;--afterwards:#c98f5a;--interval:rgba(240,163,92,.20);--band:rgba(60,190,155,.15);--bandedge:#4cc7a4;--test:#f2efe8;--held:#e59be0;--bar:#5b93c4;--cap:#ff9a70;--bad:#ff8a78;--knownband:rgba(109,182,242,.18)}}
`

const around = `*{box-sizing:border-box}
body{margin:0 auto;padding:1.2rem;max-width:66rem;background:var(--paper);color:var(--ink);font:1rem/1.5 system-ui,sans-serif}
h1{font-size:1.7rem;line-height:1.2;margin:.2rem 0 .4rem}h2{font-size:1.25rem;margin:2rem 0 .5rem}h3{font-size:1.05rem;margin:0 0 .4rem}
article h3::first-letter,.verdicts li::first-letter{text-transform:uppercase}
p{margin:.3rem 0}.quiet{color:var(--quiet);font-size:.92rem}
article{background:var(--sheet);border:1px solid var(--rule);border-radius:.5rem;padding:.9rem 1rem;margin:.8rem 0}
.two{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(100%,25rem),1fr));gap:.8rem}.two article{margin:0}.two h3::first-letter{text-transform:none}
dl{display:flex;flex-wrap:wrap;gap:.3rem 1.3rem;margin:0 0 .5rem}dt{color:var(--quiet);font-size:.82rem}dd{margin:0;font-variant-numeric:tabular-nums}
figure{margin:.5rem 0 0}figcaption{color:var(--quiet);font-size:.85rem}
figure{overflow-x:auto}figure svg{display:block;width:100%;height:auto;min-width:40rem}.two figure svg{min-width:17rem}
.verdicts{padding-left:1.2rem;font-size:1.05rem}.verdicts li{margin:.15rem 0}
.bad{border:3px solid var(--bad);padding:.6rem 1rem;border-radius:.4rem;margin:.5rem 0}
.legend{list-style:none;display:flex;flex-wrap:wrap;gap:.2rem 1.3rem;padding:0;margin:0;font-size:.9rem}.legend svg{width:30px;height:12px;margin-right:.4rem;vertical-align:middle}
.wide{overflow-x:auto}table{border-collapse:collapse;width:100%;font-size:.93rem}th,td{text-align:left;vertical-align:top;padding:.35rem .8rem .35rem 0;border-bottom:1px solid var(--rule)}
thead th{color:var(--quiet);font-weight:normal}.num{text-align:right;font-variant-numeric:tabular-nums;white-space:nowrap}
.remarks{padding-left:1.2rem}.when{color:var(--quiet);white-space:nowrap;font-variant-numeric:tabular-nums}
`

const marks = `.grid{stroke:var(--rule);stroke-width:1}.tick{stroke:var(--quiet);stroke-width:1}.label{fill:var(--quiet);font-size:12px}
.truth{fill:none;stroke:var(--truth);stroke-width:2.2}.believed{fill:none;stroke:var(--believed);stroke-width:2;stroke-dasharray:7 4}
.afterwards{fill:none;stroke:var(--afterwards);stroke-width:1.6;stroke-dasharray:1.5 3;stroke-linecap:round}
.interval{fill:var(--interval)}.band{fill:var(--band)}.bandedge{stroke:var(--bandedge);stroke-width:1}.target{stroke:var(--bandedge);stroke-width:1.4;stroke-dasharray:2 4}
.test{fill:var(--sheet);stroke:var(--test);stroke-width:1.8}.held{fill:var(--held);stroke:var(--sheet);stroke-width:1}.heldlabel{fill:var(--held);font-size:12px;font-weight:bold}
.known{fill:none;stroke:var(--truth);stroke-width:2.2}.knownband{fill:var(--knownband)}.mark{stroke:var(--held);stroke-width:1.6}
.predicted{stroke:var(--believed);stroke-width:1.6}
.dose{fill:var(--bar)}.cap{stroke:var(--cap);stroke-width:1.6;stroke-dasharray:8 3}.caplabel{fill:var(--quiet);font-size:12px}
.contents{fill:var(--band)}.contentsline{fill:none;stroke:var(--bandedge);stroke-width:1.8}.stop{stroke:var(--cap);stroke-width:1.4;stroke-dasharray:8 3}
`

const printed = `@media print{body{background:#fff}article{break-inside:avoid}}
`
