// Package channeltest is the suite that every channel must pass: a partner that loses replies,
// fails after it accepted, hangs, breaks off and lies, and a channel that must come out of it
// with every document taken exactly once.
//
// A channel's test calls Run with a function that makes the channel and a partner, which the
// suite tells how to behave. The suite has no clock: where a partner hangs, it says so, and only then
// the caller's patience ends.
package channeltest
