// How many bits the samples really hold: planted into packaged music, and music as it is.
#include <doctest/doctest.h>

#include <cmath>
#include <string>

#include "faults/sample.h"
#include "signals.h"
#include "standards/reading.h"

using namespace sendworthy;
using namespace sendworthy::test;

namespace {

constexpr int kRate = 48000;
constexpr double kStep24 = 1.0 / 8388608;

std::string word(const Reading& r, const char* id) {
  const auto* value = std::get_if<Value>(&r.measurement(id).outcome);
  const auto* text = value ? std::get_if<std::string>(value) : nullptr;
  return text ? *text : "not measured";
}
bool applicable(const Reading& r, const char* id) {
  return !std::holds_alternative<NotApplicable>(r.measurement(id).outcome);
}

Samples rounded(Samples x, int bits) {
  const double scale = std::ldexp(1.0, bits - 1);
  for (auto& v : x) v = std::floor(v * scale + 0.5) / scale;
  return x;
}
enum class Dither { none, rectangular, triangular, shaped };
Samples rounded(Samples x, int bits, Dither dither) {
  const double scale = std::ldexp(1.0, bits - 1);
  Random random(11);
  double error = 0;
  for (auto& v : x) {
    const double noise = dither == Dither::none          ? 0
                         : dither == Dither::rectangular ? random.unit() - 0.5
                                                         : random.unit() - random.unit();
    const double wanted = v * scale - (dither == Dither::shaped ? error : 0);
    const double y = std::floor(wanted + noise + 0.5);
    error = y - wanted;
    v = y / scale;
  }
  return x;
}
/// A tone that dies away from −50 dBFS by 15 dB a second.
Samples tail(double hz, double seconds) {
  auto x = sine(kRate, hz, from_db(-50), static_cast<std::int64_t>(seconds * kRate));
  for (std::size_t n = 0; n < x.size(); ++n) x[n] *= from_db(-15.0 * static_cast<double>(n) / kRate);
  return x;
}
Channels each(const Channels& channels, auto f) {
  Channels out;
  for (const auto& channel : channels) out.push_back(f(channel));
  return out;
}
/// All 24 bits move, and no grid is left: the loops of the packaged music are 16-bit.
Samples lively(Samples x) {
  Random random(3);
  double before = 0;
  for (auto& v : x) {
    before = 0.5 * v + 0.31 * before;
    v = before + (random.unit() - random.unit()) * kStep24;
  }
  return x;
}

}  // namespace

TEST_SUITE("measure/word length") {
  TEST_CASE("integers in a float file are told with their depth; one sample off the grid is enough") {
    const auto x = music().channels;
    for (const auto& [bits, name] :
         {std::pair{8, "8-bit"}, {12, "12-bit"}, {15, "16-bit"}, {16, "16-bit"}, {20, "20-bit"}, {24, "24-bit"}}) {
      const auto& bits_here = bits;
      CAPTURE(bits_here);
      auto whole = each(x, [b = bits](const Samples& s) { return rounded(s, b); });
      CHECK(word(measured(real_source(kRate, whole, 32)), "integer_valued_float") == name);
      whole[1][300001] += 0.3 * kStep24;
      CHECK(word(measured(real_source(kRate, whole, 64)), "integer_valued_float") == "none");
    }
    CHECK_FALSE(applicable(measured(code_source(kRate, 24, x)), "integer_valued_float"));
    CHECK(measured(real_source(kRate, {silence(kRate)}, 32)).reason("integer_valued_float") ==
          "silent: digital zero throughout");
    auto broken = each(x, [](const Samples& s) { return rounded(s, 16); });
    broken[0][5000] = std::nan("");
    CHECK(word(measured(real_source(kRate, broken, 32)), "integer_valued_float") == "16-bit");
  }

  TEST_CASE("padded words of 20, 12 and 8 bits are told by the bits in use") {
    for (const int bits : {20, 16, 12, 8}) {
      const auto r = measured(code_source(
          kRate, 24, each(music().channels, [b = bits](const Samples& s) { return rounded(lively(s), b); })));
      CHECK(r("effective_bit_depth") == bits);
      if (bits <= 16) CHECK_FALSE(applicable(r, "gain_changed_word_length"));
      if (bits == 20) CHECK(word(r, "gain_changed_word_length") == "none");
    }
  }

  TEST_CASE(
      "16 bits under any gain are found with the gain, in 24 bits and in float, however they were dithered before") {
    for (const double db : {-20.0, -12.3, -6.02, -1.0, -0.1, 0.7, 3.0, 9.5}) {
      CAPTURE(db);
      const auto x = each(music().channels, [&](const Samples& s) {
        return scaled(rounded(scaled(s, from_db(-12)), 16, Dither::triangular), from_db(db));
      });
      for (const auto& r : {measured(code_source(kRate, 24, x)), measured(real_source(kRate, x, 32))}) {
        CHECK(word(r, "gain_changed_word_length") == "strong");
        const auto& note = r.measurement("gain_changed_word_length").note;
        CAPTURE(note);
        const auto at = note.find(db < 0 ? "down by " : "up by ");
        REQUIRE(at != std::string::npos);
        CHECK(std::stod(note.substr(at + (db < 0 ? 8 : 6))) == doctest::Approx(std::abs(db)).epsilon(0.02).scale(0.5));
      }
    }
  }

  TEST_CASE("what was dithered after the gain, mixed, or few values is no gain change") {
    const auto x = each(music().channels, lively);
    CHECK(word(measured(code_source(kRate, 24, x)), "gain_changed_word_length") == "none");
    auto mixed = rounded(scaled(music().channels[0], 0.5), 16);
    const auto other = rounded(scaled(music().channels[1], 0.5), 16);
    for (std::size_t n = 0; n < mixed.size(); ++n) mixed[n] = 0.6931 * mixed[n] + 0.4142 * other[n] + (n % 7) * kStep24;
    CHECK(word(measured(code_source(kRate, 24, {mixed})), "gain_changed_word_length") == "none");
    CHECK(word(measured(code_source(kRate, 24, {square(kRate, 441, 0.0007, kRate * 2)})), "gain_changed_word_length") ==
          "not measured");
    CHECK(word(measured(code_source(kRate, 24, {silence(kRate)})), "gain_changed_word_length") == "not measured");
    CHECK(word(measured(code_source(kRate, 24, {sine(kRate, 440, 0.3, 100)})), "gain_changed_word_length") ==
          "not measured");
  }

  TEST_CASE("a tail that is rounded without dither moves in bare steps; with any dither it does not") {
    for (const double hz : {60.0, 130.0, 310.0, 700.0}) {
      CAPTURE(hz);
      const auto x = concatenated({music().channels[0], tail(hz, 4)});
      const auto verdict = [&](Dither dither, int bits) {
        return word(measured(code_source(kRate, bits, {rounded(x, 16, dither)})), "truncated_word_length");
      };
      const char* grade = "strong";
      CHECK(verdict(Dither::none, 16) == grade);
      CHECK(verdict(Dither::none, 24) == grade);
      CHECK(verdict(Dither::triangular, 16) == "none");
      CHECK(verdict(Dither::shaped, 16) == "none");
      // Below half a step nothing is left to tell rectangular dither by.
      const auto rectangular = verdict(Dither::rectangular, 16);
      CHECK((rectangular == "none" || rectangular == "not measured"));
      // Turned down in 24 bits afterwards.
      const auto down = measured(code_source(kRate, 24, {scaled(rounded(x, 16), 0.317)}));
      CHECK(word(down, "truncated_word_length") == "some");
      const auto dithered = measured(code_source(kRate, 24, {scaled(rounded(x, 16, Dither::triangular), 0.317)}));
      CHECK(word(dithered, "truncated_word_length") == "not measured");
      // The full word: 144 dB down nobody hears it.
      const auto full = word(measured(code_source(kRate, 24, {x})), "truncated_word_length");
      CHECK((full == "none" || full == "not measured"));
    }
    const auto short_word = word(measured(code_source(kRate, 8, {scaled(tail(90, 4), 60)})), "truncated_word_length");
    CHECK(short_word == "strong");
  }

  TEST_CASE("a slow fade of sound that moves fast is read") {
    // Three partials up to 1.9 kHz squared over the last eight seconds, then half a second of nothing.
    const std::int64_t count = 8 * kRate;
    auto song = sum(sum(sine(kRate, 331, 0.3, count), sine(kRate, 733, 0.15, count)), sine(kRate, 1907, 0.05, count));
    for (std::size_t n = 0; n < song.size(); ++n) {
      const double part = static_cast<double>(song.size() - 1 - n) / static_cast<double>(song.size());
      song[n] *= part * part;
    }
    const Channels faded{concatenated({lively(song), silence(kRate / 2)})};
    const auto verdict = [&](Dither dither, int bits) {
      return word(measured(code_source(kRate, bits, each(faded, [&](const Samples& x) { return rounded(x, 16, dither); }))),
                  "truncated_word_length");
    };
    CHECK(verdict(Dither::none, 16) == "strong");
    CHECK(verdict(Dither::none, 24) == "strong");
    CHECK(verdict(Dither::triangular, 16) == "none");
    CHECK(verdict(Dither::shaped, 16) == "none");
    const auto rectangular = verdict(Dither::rectangular, 16);
    CHECK((rectangular == "none" || rectangular == "not measured"));
  }

  TEST_CASE("a gate, digital silence and a pulse wave are no truncation, and loud music says nothing") {
    const auto loud = rounded(sine(kRate, 440, 0.5, 2 * kRate), 16);
    CHECK(word(measured(code_source(kRate, 16, {concatenated({loud, silence(kRate)})})), "truncated_word_length") ==
          "not measured");
    CHECK(word(measured(code_source(kRate, 16, {square(kRate, 200, 2.0 / 32768, 2 * kRate)})),
               "truncated_word_length") == "not measured");
    CHECK(word(measured(code_source(kRate, 24, {square(kRate, 200, 0.0003, 2 * kRate)})), "truncated_word_length") ==
          "not measured");
    CHECK(word(measured(code_source(kRate, 16, {silence(kRate)})), "truncated_word_length") == "not measured");
  }

  TEST_CASE("bits that lie still for a while are found where they do") {
    const auto x = each(music().channels, lively);
    CHECK(measured(code_source(kRate, 24, x))("stuck_bits") == 0);
    for (const int bits : {1, 4, 8}) {
      for (const bool ones : {false, true}) {
        for (const std::int64_t shift : {0, 61, 5000}) {
          auto y = x;
          for (auto& channel : y) channel.insert(channel.begin(), static_cast<std::size_t>(shift), 0.0);
          const std::int64_t from = 201000 + shift, count = kRate;
          for (auto n = from; n < from + count; ++n) {
            auto& v = y[1][static_cast<std::size_t>(n)];
            const double unit = std::ldexp(kStep24, bits);
            v = std::floor(v / unit) * unit + (ones ? unit - kStep24 : 0);
          }
          CAPTURE(bits);
          CAPTURE(ones);
          const auto r = measured(code_source(kRate, 24, y));
          REQUIRE(r("stuck_bits") == 1);
          const auto& where = r.measurement("stuck_bits").where.at(0);
          CHECK(where.channel == 2);
          CHECK(std::abs(where.start_frame - from) < kRate / 4);
          CHECK(std::abs(where.end_frame - from - count) < kRate / 4);
        }
      }
    }
  }

  TEST_CASE("a bit that lies still in the middle of the word is found, whatever its value") {
    const auto x = each(music().channels, lively);
    for (const int bit : {1, 3, 7, 12}) {
      for (const bool one : {false, true}) {
        for (const bool throughout : {false, true}) {
          auto y = x;
          const std::size_t from = throughout ? 0 : 201000;
          for (std::size_t n = from; n < y[1].size(); ++n) {
            auto& v = y[1][n];
            const auto steps = std::llrint(v / kStep24), mask = 1LL << bit;
            v = static_cast<double>(one ? steps | mask : steps & ~mask) * kStep24;
          }
          CAPTURE(bit);
          CAPTURE(one);
          CAPTURE(throughout);
          const auto r = measured(code_source(kRate, 24, y));
          REQUIRE(r("stuck_bits") >= 1);
          const auto& where = r.measurement("stuck_bits").where.at(0);
          CHECK(where.channel == 2);
          CHECK(where.note == "bit " + std::to_string(bit) + " (the lowest is 0) lies still");
          CHECK(std::abs(where.start_frame - static_cast<std::int64_t>(from)) < kRate / 2);
        }
      }
    }
  }

  TEST_CASE("pulses between two levels, one-sided sound and small words leave bits still that are not stuck") {
    const auto x = lively(music().channels[0]);
    Samples pulses = noise(5, 8 * kStep24, 3 * kRate), high = scaled(x, 0.001);
    for (std::size_t n = 0; n < pulses.size(); ++n) pulses[n] += n % 200 < 50 ? 0.2718 : -0.0906;
    for (auto& v : high) v += 0.3;
    CHECK(measured(code_source(kRate, 24, {concatenated({x, pulses, x})}))("stuck_bits") == 0);
    CHECK(measured(code_source(kRate, 24, {concatenated({x, high, x})}))("stuck_bits") == 0);
    CHECK(measured(code_source(kRate, 24, {rounded(x, 12)}))("stuck_bits") == 0);
    CHECK(measured(code_source(kRate, 24, {sine(kRate, 997, 0.4, 4 * kRate)}))("stuck_bits") == 0);
    CHECK(measured(code_source(kRate, 24, {sine(kRate, 1000, 0.4, 4 * kRate)}))("stuck_bits") == 0);
  }

  TEST_CASE("silence, a fade and a plain wave between lively music are no stuck bits") {
    const auto x = lively(music().channels[0]);
    const auto fade = tail(200, 6);
    CHECK(measured(code_source(kRate, 24, {concatenated({x, silence(2 * kRate), x})}))("stuck_bits") == 0);
    CHECK(measured(code_source(kRate, 24, {concatenated({x, fade, x})}))("stuck_bits") == 0);
    CHECK(measured(code_source(kRate, 24, {concatenated({x, square(kRate, 220, 0.25, 2 * kRate), x})}))("stuck_bits") ==
          0);
    CHECK(measured(code_source(kRate, 16, {rounded(x, 16)}))("stuck_bits") == 0);
    CHECK_FALSE(measured(code_source(kRate, 24, {silence(kRate)})).measured("stuck_bits"));
    CHECK_FALSE(applicable(measured(real_source(kRate, {x}, 32)), "stuck_bits"));
    // A splice of 16 bits in a 24-bit session.
    CHECK(measured(code_source(kRate, 24, {concatenated({x, rounded(x, 16), x})}))("stuck_bits") == 1);
  }

  TEST_CASE("the four words: clipped, flat-topped, limited and over are told apart") {
    // One piece of music, driven 6 dB too hard.
    const auto hot = each(music().channels, [](const Samples& s) { return scaled(s, from_db(12)); });
    const auto clip = [](double top) {
      return [top](Samples s) {
        for (auto& v : s) v = std::clamp(v, -top, top);
        return s;
      };
    };
    const auto limit = [](Samples s) {
      // Gain that gets there before the peak does, and leaves slowly: nothing is flat.
      double gain = 1;
      for (std::size_t n = 0; n < s.size(); ++n) {
        double ahead = 0;
        for (std::size_t k = n; k < std::min(s.size(), n + 64); ++k) ahead = std::max(ahead, std::abs(s[k]));
        gain = std::min(gain + 1e-4, std::min(1.0, 0.98 / std::max(0.98, ahead)));
        s[n] *= gain;
      }
      return s;
    };
    struct Words {
      double clipped, flat, over;
    };
    const auto words = [](const Reading& r) {
      return Words{r("clipped_runs"), r("flat_top_runs"),
                   r.measured("over_full_scale_samples") ? r("over_full_scale_samples") : 0};
    };
    for (const int bits : {16, 24}) {
      CAPTURE(bits);
      const auto clipped = words(measured(code_source(kRate, bits, hot)));
      CHECK(clipped.clipped > 20);
      CHECK(clipped.flat == 0);
      // −0.1 and −0.3 dBFS, one step below full scale, and far down.
      for (const double top : {from_db(-0.1), from_db(-0.3), 1 - 2 * std::ldexp(1.0, 1 - bits), from_db(-7)}) {
        CAPTURE(top);
        const auto down = words(measured(
            code_source(kRate, bits, each(each(hot, clip(1)), [&](const Samples& s) { return scaled(s, top); }))));
        CHECK(down.clipped == 0);
        CHECK(down.flat > 20);
      }
      const auto limited = measured(code_source(kRate, bits, each(hot, limit)));
      CHECK(words(limited).clipped == 0);
      CHECK(words(limited).flat <= 9);
      CHECK(limited("limited_peaks") > 5);
    }
    const auto over = words(measured(real_source(kRate, hot, 32)));
    CHECK(over.over > 100);
    CHECK(over.clipped == 0);
    CHECK(over.flat == 0);
    const auto sound = measured(code_source(kRate, 24, music().channels));
    CHECK(words(sound).clipped + words(sound).flat + words(sound).over == 0);
    CHECK(sound("limited_peaks") < 5);
  }

  TEST_CASE("clipping keeps its word upside down, on one side only, and with unlike ends of the scale") {
    const auto hot = each(music().channels, [](const Samples& s) { return scaled(s, from_db(12)); });
    const auto upside_down = each(hot, [](const Samples& s) { return scaled(s, -1); });
    for (const int bits : {16, 24}) {
      CHECK(measured(code_source(kRate, bits, upside_down))("clipped_runs") > 20);
      // Clipped, then inverted: what was −32768 has no opposite, and 32767 became −32767.
      const double least = 1 - std::ldexp(1.0, 1 - bits);
      const auto turned = each(hot, [&](Samples s) {
        for (auto& v : s) v = -std::clamp(v, -least, least);
        return s;
      });
      CHECK(measured(code_source(kRate, bits, turned))("clipped_runs") > 20);
      const auto one_sided = each(hot, [](Samples s) {
        for (auto& v : s) v = v > 0 ? v : 0.2 * v;
        return s;
      });
      const auto r = measured(code_source(kRate, bits, one_sided));
      CHECK(r("clipped_runs") > 10);
      CHECK(r("flat_top_runs") == 0);
    }
    // Dither or noise of a step or two after the clipping, with and without a change of level: flat all the same.
    for (const int bits : {16, 24}) {
      for (const double top : {from_db(-0.1), from_db(-3)}) {
        for (const double steps : {1.0, 1.5}) {
          Random random(8);
          const double step = std::ldexp(1.0, 1 - bits);
          const auto dithered = each(hot, [&](Samples s) {
            for (auto& v : s) v = top * std::clamp(v, -1.0, 1.0) + steps * step * (random.unit() - random.unit());
            return s;
          });
          CAPTURE(bits);
          CAPTURE(top);
          const auto r = measured(code_source(kRate, bits, dithered));
          CHECK(r("clipped_runs") == 0);
          CHECK(r("flat_top_runs") > 9);
        }
      }
    }
    for (const double hz : {20.0, 45.0, 70.0, 85.0, 100.0, 140.0, 250.0}) {
      for (const double peak : {0.1, 0.4, 0.99}) {
        Random random(4);
        auto x = sine(kRate, hz, peak, 3 * kRate);
        for (auto& v : x) v += (random.unit() - random.unit()) / 32768;
        CHECK(measured(code_source(kRate, 16, {x}))("flat_top_runs") == 0);
      }
    }
    // A slow sine rests on its crest by rounding alone.
    CHECK(measured(code_source(kRate, 16, {sine(kRate, 20, 1, 4 * kRate)}))("clipped_runs") == 0);
    CHECK(measured(code_source(kRate, 16, {sine(kRate, 20, 0.7, 4 * kRate)}))("flat_top_runs") == 0);
  }
}
