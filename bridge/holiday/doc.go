// Package holiday makes of what lies ahead of a site (machine.Ahead) what its keeper has to know before leaving: what to do
// first, what falls due meanwhile, what a helper refills and by when, and a sheet of one page for that helper.
//
// It decides nothing about a run and changes no plan. It reads no clock: the moment is part of the outlook.
package holiday
