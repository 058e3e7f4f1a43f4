// Small defects put into music, and the places in it where they can be heard.
#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <utility>
#include <vector>

#include "faults/sample.h"

namespace sendworthy::test {

/// Left stays; right turns from a copy of left (0) over unrelated music (0.5) to left upside down (1).
void turn_right(Clip& clip, double x);
void lengthen(Clip& clip, double seconds);
void limit(Clip& clip, double x);
double mean_square(const std::vector<double>& x, std::int64_t from, std::int64_t count);
/// Where every channel is loud for a tenth of a second.
std::int64_t loud_frame(const Clip& clip);
/// The last sound dies away in kRingS: a copy of the music, softer and softer, down to nothing.
constexpr double kRingS = 1.5;
void ring_out(Clip& clip);
/// Six seconds of it, in a straight line, over the first loop played twice.
void fade(Clip& clip, const std::function<std::size_t(std::size_t, std::size_t)>& place);
double largest_bend(const std::vector<double>& x, std::int64_t middle, std::int64_t around);
/// Where the first channel bends least, with music above -40 dBFS round it.
std::int64_t calm_frame(const Clip& clip);
/// Nothing above the frequency is left: a windowed sinc of `half` taps to each side; as many frames at both ends are silent.
std::vector<double> low_passed(const std::vector<double>& x, double hz, int rate, int half = 1200);
void only_bass(Clip& clip, std::size_t channel, double hz);
/// The first bytes of a PNG in true colour (8.2 and 11.2.1 of its specification).
std::string png(unsigned width, unsigned height);
/// The next of a row of numbers between 0 and 1 that looks random.
double uniform(std::uint32_t& state);
/// A gentle low-pass and noise of a step of 24 bits: all bits move, and nothing is left of the loops' own 16 bits.
void fill_low_bits(Clip& clip);
/// To 16 bits, after a tail of a low tone that dies away through the last step.
void shorten_with_tail(Clip& clip, bool dithered);
/// The first seconds, with nothing left above the frequency.
void end_at(Clip& clip, double hz);
/// Bands of some 400 Hz above 6 kHz that are left out for 30 ms, here and there, as codecs leave them out.
void punch_holes(Clip& clip);
std::vector<double> with_holes(const std::vector<double>& x, int rate);
/// Five seconds of faint noise behind the music; first frame and end.
std::pair<std::size_t, std::size_t> pause(Clip& clip, double rms_dbfs);

}  // namespace sendworthy::test
