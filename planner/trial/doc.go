// Package trial measures how well a policy keeps the alkalinity of simulated tanks that are not written like the
// estimator's model: it draws tanks and keepers of several families from a seed, lets a policy see tests, water
// changes and what was dosed as a keeper would know them, and scores the true level.
//
// It decides nothing about a real tank and is no forecast for one. It reads no clock and has no randomness but what
// a seed starts: the same family, seed, options and policy give the same numbers. What a tank and its keeper do does
// not depend on the policy, so that policies are compared on the same weather and the same slips.
//
// All figures of families are our own choice within what reef keepers report; levels are in dKH, changes in dKH a
// day of the whole system. Time goes in hours from Start.
package trial
