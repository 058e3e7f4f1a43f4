// Cuts, fades, what stands before and behind the music, and bursts that come back: at places known from how they were made.
#include <algorithm>
#include <cmath>
#include <numbers>

#include <doctest/doctest.h>

#include "audio/memory_source.h"
#include "measure/pass.h"
#include "measure/shape.h"
#include "signals.h"
#include "standards/reading.h"

using namespace sendworthy;
using namespace sendworthy::test;

namespace {

constexpr int kRate = 48000;

Reading reals(const Channels& channels, int rate = kRate) { return measured(real_source(rate, channels)); }
Reading codes(const Channels& channels, int bits) { return measured(code_source(kRate, bits, channels)); }
bool flag(const Reading& r, std::string_view key) { return std::get<bool>(std::get<Value>(r.measurement(key).outcome)); }

// A note: rises in 5 ms, then decays by 60 dB in `ring_s`; its highs go three times as fast.
Samples note(double hz, double peak, double ring_s, double seconds) {
  Samples x(static_cast<std::size_t>(seconds * kRate));
  for (std::size_t n = 0; n < x.size(); ++n) {
    const double t = static_cast<double>(n) / kRate, rise = std::min(1.0, t / 0.005);
    for (int k = 1; k <= 6; ++k)
      x[n] += rise * peak / 3 / k * std::pow(10.0, -3 * t * (1 + 0.4 * (k - 1)) / ring_s) * std::sin(2 * std::numbers::pi * k * hz * t);
  }
  return x;
}

// Notes every half second.
Samples tune(double seconds, double peak = 0.4) {
  Samples x(static_cast<std::size_t>(seconds * kRate));
  const double pitches[] = {220, 277, 330, 440, 330, 277};
  int i = 0;
  for (std::size_t at = 0; at < x.size(); at += kRate / 2, ++i) {
    const auto one = note(pitches[i % 6], peak, 1.5, 1.2);
    for (std::size_t n = 0; n < one.size() && at + n < x.size(); ++n) x[at + n] += one[n];
  }
  return x;
}

Samples faded(Samples x, double seconds, bool at_tail, double power = 1) {
  const auto count = static_cast<std::size_t>(seconds * kRate);
  for (std::size_t n = 0; n < count; ++n)
    x[at_tail ? x.size() - 1 - n : n] *= std::pow(static_cast<double>(n) / static_cast<double>(count), power);
  return x;
}

}  // namespace

TEST_SUITE("measure/edges") {
  TEST_CASE("a start inside a sound is cut, a start at its beginning is none") {
    const auto tone = note(220, 0.5, 3, 2);
    CHECK(!flag(reals({tone}), "cut_start"));
    CHECK(!flag(reals({concatenated({silence(kRate), tone})}), "cut_start"));
    // 10 ms into the note, at a place that is no zero crossing.
    std::size_t at = 480;
    while (std::abs(tone[at]) < 0.1) ++at;
    const Samples cut(tone.begin() + static_cast<std::ptrdiff_t>(at), tone.end());
    CHECK(flag(reals({cut}), "cut_start"));
    // Behind digital silence too, and the place is where the sound begins.
    const auto late = reals({concatenated({silence(1000), cut})});
    CHECK(flag(late, "cut_start"));
    CHECK(late.measurement("cut_start").where.at(0).start_frame == 1000);
    // One channel of two is enough.
    Samples whole = tone;
    whole.resize(cut.size());
    const auto second = reals({whole, cut});
    CHECK(flag(second, "cut_start"));
    CHECK(second.measurement("cut_start").where.at(0).channel == 2);
    // A loud channel hides a cut in one that is 30 dB softer.
    CHECK(!flag(reals({whole, scaled(cut, 0.03)}), "cut_start"));
  }

  TEST_CASE("nothing can be said about a start of less than 30 ms, or of silence") {
    CHECK(!reals({Samples(1000, 0.1)}).measured("cut_start"));
    CHECK(!reals({silence(kRate)}).measured("cut_start"));
    CHECK(!reals({silence(kRate)}).measured("cut_tail"));
    CHECK(!reals({silence(kRate)}).measured("tail_drop"));
    CHECK(!reals({Samples(2000, 0.1)}).measured("cut_tail"));
  }

  TEST_CASE("a tail is cut while it rings or while the music plays, not when it has died away or stopped") {
    const auto song = tune(6);
    const auto rung = concatenated({song, note(220, 0.4, 2, 3)});
    CHECK(!flag(reals({rung}), "cut_tail"));
    CHECK(flag(reals({song}), "cut_tail"));
    // Last note, decaying at 30 dB a second from −20 dBFS: cut after 0.8 s it stands near −45.
    Samples rings = rung;
    rings.resize(song.size() + static_cast<std::size_t>(0.8 * kRate));
    CHECK(flag(reals({rings}), "cut_tail"));
    // A cold stop.
    CHECK(!flag(reals({concatenated({song, silence(kRate / 10)})}), "cut_tail"));
  }

  TEST_CASE("a floor that stands at the end is no cut tail") {
    // −50 dBFS of hiss under everything.
    const auto hiss = noise(3, 0.0055, kRate * 12);
    auto song = concatenated({tune(6), note(220, 0.4, 1, 6)});
    song.resize(hiss.size());
    const auto r = reals({sum(song, hiss)});
    CHECK(!flag(r, "cut_tail"));
    CHECK(r.measurement("cut_tail").note.find("noise floor") != std::string::npos);
  }

  TEST_CASE("a decay that drops into digital silence is read at the level it drops from") {
    const auto last = note(440, 0.4, 2, 4);
    for (const double db : {-30.0, -50.0, -70.0}) {
      CAPTURE(db);
      Samples x = concatenated({tune(4), last});
      std::size_t end = 4 * kRate + 4800;
      const auto rms = [&](std::size_t at) {
        double sum = 0;
        for (auto n = at - 960; n < at; ++n) sum += x[n] * x[n];
        return 10 * std::log10(sum / 960);
      };
      while (rms(end) > db) ++end;
      std::fill(x.begin() + static_cast<std::ptrdiff_t>(end), x.end(), 0.0);
      const auto r = reals({x});
      CHECK(r("tail_drop") == doctest::Approx(db).epsilon(0.01));
      CHECK(r.measurement("tail_drop").where.at(0).start_frame >= static_cast<std::int64_t>(end) - 2);
    }
    // In 16 bits a decay ends in zeros by nature; a fade of 5 ms is a fade.
    CHECK(codes({concatenated({last, silence(kRate)})}, 16)("tail_drop") == -144);
    Samples short_fade = concatenated({tune(4), silence(kRate)});
    for (std::size_t n = 0; n < 240; ++n) short_fade[4 * kRate - 1 - n] *= static_cast<double>(n) / 240;
    CHECK(reals({short_fade})("tail_drop") == -144);
    // A slow wave that has died away to its last step leaves it for good at some sample; two steps higher it was cut.
    const auto last_steps = [](int code) {
      Samples x(kRate / 2);
      for (std::size_t n = 0; n < x.size(); ++n) x[n] = n + 96 < x.size() ? 40.0 / 32768 * (n / 480 % 2 == 0 ? 1 : -1) : code / 32768.0;
      return codes({concatenated({x, silence(kRate)})}, 16)("tail_drop");
    };
    CHECK(last_steps(1) == -144);
    CHECK(last_steps(-1) == -144);
    CHECK(last_steps(20) > -70);
    CHECK(reals({tune(4)})("tail_drop") == -144);
  }

  TEST_CASE("a loop whose wave goes on has no seam, one that is a few milliseconds off has") {
    // Whole periods of 250 Hz and 1 kHz: 192 frames each.
    // A little noise, since no filter predicts exactly.
    const auto good = sum(sum(sine(kRate, 250, 0.3, 192 * 100), sine(kRate, 1000, 0.1, 192 * 100)), noise(1, 1e-4, 192 * 100));
    CHECK(reals({good})("loop_seam_step") == -144);
    Samples bad = good;
    bad.resize(bad.size() - 60);
    const auto r = reals({good, concatenated({bad, Samples(60, bad.back())})});
    CHECK(reals({bad})("loop_seam_step") > -30);
    CHECK(reals({scaled(bad, 0.1)})("loop_seam_step") == doctest::Approx(reals({bad})("loop_seam_step") - 20).epsilon(0.01));
    CHECK(r.measurement("loop_seam_step").where.at(0).channel == 2);
    CHECK(!reals({Samples(100, 0.1)}).measured("loop_seam_step"));
  }

  TEST_CASE("where a loop is named, its own seam counts and not the file's; one that reaches beyond the file is not judged") {
    const auto wave = [](std::int64_t frames) {
      return sum(sum(sine(kRate, 250, 0.3, frames), sine(kRate, 1000, 0.1, frames)), noise(1, 1e-4, frames));
    };
    const auto named = [&](const Samples& x, std::vector<audio::LoopPoints> loops) {
      audio::OpenedFile file;
      file.source = real_source(kRate, {x});
      file.facts.loops = std::move(loops);
      return measured(std::move(file));
    };
    // A release of 60 frames too many: the file's seam is broken, the loop's is not.
    const auto released = wave(192 * 100 + 60), whole = wave(192 * 100);
    CHECK(reals({released})("loop_seam_step") > -30);
    CHECK(named(released, {{0, 192 * 100 - 1}})("loop_seam_step") == -144);
    CHECK(named(whole, {})("loop_seam_step") == -144);
    const auto broken = named(whole, {{1920, 192 * 90 - 60}});
    CHECK(broken("loop_seam_step") > -30);
    CHECK(broken.measurement("loop_seam_step").where.at(0).start_frame == 192 * 90 - 60);
    for (const auto& loop : {audio::LoopPoints{1920, 192 * 100}, {192 * 100, 192 * 101}, {500, 500}, {900, 20}, {0, 60}})
      CHECK(!named(whole, {loop}).measured("loop_seam_step"));
  }

  TEST_CASE("loop points lie inside the file, the last frame included, and have a length") {
    const auto points = [](std::vector<audio::LoopPoints> loops) {
      audio::OpenedFile file;
      file.source = real_source(kRate, {noise(1, 0.5, 1000)});
      file.facts.loops = std::move(loops);
      return measured(std::move(file));
    };
    CHECK(std::holds_alternative<NotApplicable>(points({}).measurement("loop_points").outcome));
    CHECK(points({{0, 999}})("loop_points") == 0);
    CHECK(points({{0, 1000}})("loop_points") == 1);
    CHECK(points({{1000, 1001}})("loop_points") == 1);
    CHECK(points({{7, 7}})("loop_points") == 1);
    CHECK(points({{7, 8}})("loop_points") == 0);
    CHECK(points({{1000, 3}})("loop_points") == 1);
    const auto r = points({{0, 500}, {100, 4294967295}, {300, 200}});
    CHECK(r("loop_points") == 2);
    CHECK(r.measurement("loop_points").where_total == 2);
    CHECK(r.measurement("loop_points").where.at(0).note == "frames 100 to 4294967295, the file has 1000");
    CHECK(r.measurement("loop_points").where.at(1).start_frame == 300);
    CHECK(points(std::vector<audio::LoopPoints>(60, {5, 1}))("loop_points") == 60);
  }

  TEST_CASE("a click of a few samples at either end is found; a constant offset is none") {
    const auto room = noise(3, 6e-5, kRate);
    for (const std::size_t width : {1u, 3u, 5u, 30u}) {
      for (const double peak : {0.05, 0.3}) {
        CAPTURE(width);
        Samples head = room, tail = room;
        for (std::size_t n = 0; n < width; ++n) {
          const double v = width < 30 ? peak : peak * std::exp(-static_cast<double>(n) / 8);
          head[n] = v, tail[tail.size() - 1 - n] = -v;
        }
        CHECK(reals({head})("start_step") == doctest::Approx(to_db(peak)).epsilon(1e-2));
        CHECK(reals({head})("end_step") == -144);
        CHECK(reals({tail})("end_step") == doctest::Approx(to_db(peak)).epsilon(1e-2));
        CHECK(reals({tail})("start_step") == -144);
      }
    }
    // Lively sound from the first sample on moves as far as it starts.
    CHECK(reals({noise(4, 0.3, kRate)})("start_step") == -144);
    const auto offset = [](Samples x) {
      for (auto& v : x) v += 0.004;
      return x;
    };
    const auto song = sum(room, concatenated({silence(kRate / 4), note(220, 0.3, 1, 0.5), silence(kRate / 4)}));
    CHECK(reals({offset(song)})("start_step") == -144);
    CHECK(reals({offset(song)})("end_step") == -144);
    Samples both = song;
    both[0] = 0.1, both.back() = -0.1;
    CHECK(reals({offset(both)})("start_step") == doctest::Approx(to_db(0.1)).epsilon(0.02));
    CHECK(reals({offset(both)})("end_step") == doctest::Approx(to_db(0.096)).epsilon(0.02));
  }

  TEST_CASE("fades are told from decays") {
    CHECK(reals({concatenated({tune(20), note(220, 0.4, 4, 4)})})("fade_out") == 0);
    auto song = tune(20);  // over a held chord
    for (std::size_t n = 0; n < song.size(); ++n) {
      for (const double hz : {165.0, 208.0, 247.0}) song[n] += 0.05 * std::sin(2 * std::numbers::pi * hz * static_cast<double>(n) / kRate);
    }
    CHECK(reals({song})("fade_in") == 0);
    CHECK(reals({concatenated({song, note(220, 0.4, 4, 4)})})("fade_out") == 0);
    for (const double seconds : {3.0, 6.0, 10.0}) {
      for (const double power : {1.0, 2.0}) {
        CAPTURE(seconds);
        CAPTURE(power);
        if (seconds * power > 10) continue;  // so few notes begin under it that it is not always seen
        const auto out = reals({faded(song, seconds, true, power)});
        CHECK(out("fade_out") > 0.7 * seconds);
        CHECK(out("fade_out") < 1.6 * seconds);
        CHECK(out("fade_in") == 0);
        const auto in = reals({concatenated({faded(song, seconds, false, power), note(220, 0.4, 2, 3)})});
        CHECK(in("fade_in") > 0.7 * seconds);
        CHECK(in("fade_in") < 1.6 * seconds);
        CHECK(in("fade_out") == 0);
      }
    }
    CHECK(!reals({tune(2)}).measured("fade_out"));
  }

  // Beats up to 12 dB apart, four a second, that die away by 20 dB between: far rougher than the limit for even music.
  TEST_CASE("under a fade of uneven music the beat goes on, behind its end none does") {
    constexpr double kTick = 0.01;
    const auto at = [](double t, double fall_db_a_second) {
      constexpr double kBeatsDb[] = {0, -12, -3, -9, -12, -6, -1};
      const auto beat = static_cast<std::size_t>(t * 4);
      return std::pow(10, (kBeatsDb[beat % 7] - fall_db_a_second * (t - static_cast<double>(beat) / 4)) / 10);
    };
    const auto ticks_of = [&](double play_s, double ring_s, auto gain) {
      std::vector<measure::Tick> ticks;
      const double end_s = play_s + ring_s;
      for (double t = kTick / 2; t < end_s; t += kTick) {
        const double held = at(std::min(t, play_s), 80) * std::pow(10, -5 * std::max(0.0, t - play_s));
        const double g = gain(end_s - t);
        const auto power = static_cast<float>(0.02 * held * g * g);
        ticks.push_back({power, power / 10});
      }
      return ticks;
    };
    const auto out = [&](const std::vector<measure::Tick>& ticks) {
      return measure::find_fade(ticks, kTick, measure::Edge::tail, -88).length_s;
    };
    const auto none = [](double) { return 1.0; };
    for (const double seconds : {4.0, 6.0, 10.0}) {
      CAPTURE(seconds);
      const auto left = [&](double s) { return std::min(1.0, s / seconds); };
      CHECK(out(ticks_of(26, 0, left)) == doctest::Approx(seconds).epsilon(0.2));
      const auto squared = [&](double s) { return left(s) * left(s); };
      CHECK(out(ticks_of(26, 0, squared)) == doctest::Approx(seconds).epsilon(0.45));
      // Straight in decibels, down to silence and not.
      const auto straight = [&](double fall_db) {
        return out(ticks_of(26, 0, [&](double s) { return std::pow(10, -fall_db * (1 - left(s)) / 20); }));
      };
      CHECK(straight(60) == doctest::Approx(seconds).epsilon(0.2));
      CHECK(straight(30) == 0);
    }
    CHECK(out(ticks_of(26, 0, [](double s) { return (1 - std::cos(std::numbers::pi * std::min(1.0, s / 10))) / 2; })) ==
          doctest::Approx(10).epsilon(0.3));
    CHECK(out(ticks_of(26, 0, none)) == 0);
    CHECK(out(ticks_of(24, 2, none)) == 0);
    // Players who grow softer by 12 dB and a last sound that rings: the levels of a fade, but no beat at the end.
    for (const double ring_s : {0.7, 0.9, 1.1, 1.5}) {
      CAPTURE(ring_s);
      const auto softer = [&](double s) { return std::pow(10, -12 * std::clamp(1 - (s - ring_s) / 6, 0.0, 1.0) / 20); };
      CHECK(out(ticks_of(25, ring_s, softer)) == 0);
    }
  }

  // The gains are written out, and the levels that a fade gives follow from them: 20·p·log10(share of the time left).
  TEST_CASE("a held sound that is released falls evenly, a fade ever faster") {
    constexpr double kTick = 0.01;
    const auto ticks_of = [](double hold_s, double seconds, auto gain) {
      std::vector<measure::Tick> ticks;
      for (double t = 0; t < hold_s + seconds; t += kTick) {
        const double g = t < hold_s ? 1 : gain((t - hold_s + kTick / 2) / seconds);
        ticks.push_back({static_cast<float>(0.02 * g * g), static_cast<float>(0.002 * g * g)});
      }
      return ticks;
    };
    const auto length = [&](const std::vector<measure::Tick>& ticks) {
      return measure::find_fade(ticks, kTick, measure::Edge::tail, -88).length_s;
    };
    for (const double fall_db : {70.0, 100.0, 140.0}) {
      for (const double seconds : {1.5, 3.0, 8.0}) {
        CAPTURE(fall_db);
        CAPTURE(seconds);
        CHECK(length(ticks_of(10, seconds, [&](double u) { return std::pow(10, -fall_db / 20 * u); })) == 0);
        // Two slopes: a room behind a damped string falls ever more slowly.
        CHECK(length(ticks_of(10, seconds, [&](double u) {
                return 0.9 * std::pow(10, -fall_db / 20 * 2 * u) + 0.1 * std::pow(10, -fall_db / 20 * u);
              })) == 0);
      }
    }
    for (const double seconds : {1.2, 3.0, 8.0, 20.0}) {
      CAPTURE(seconds);
      CHECK(length(ticks_of(30, seconds, [](double u) { return 1 - u; })) == doctest::Approx(seconds).epsilon(0.15));
      CHECK(length(ticks_of(30, seconds, [](double u) { return (1 - u) * (1 - u); })) == doctest::Approx(seconds).epsilon(0.15));
      CHECK(length(ticks_of(30, seconds, [](double u) { return (1 + std::cos(std::numbers::pi * u)) / 2; })) ==
            doctest::Approx(seconds).epsilon(0.15));
    }
    CHECK(length(ticks_of(10, 0.5, [](double u) { return 1 - u; })) == 0);
    CHECK(length(ticks_of(10, 3, [](double u) { return 1 - 0.9 * u; })) == 0);  // ends on a step, 20 dB down
    CHECK(length({}) == 0);
    CHECK(length({measure::Tick{0.02F, 0}}) == 0);
    CHECK(length(std::vector<measure::Tick>(600)) == 0);
  }

  TEST_CASE("a count-in and a lone word stand before the music, a pickup does not") {
    const auto song = tune(8);
    const auto stick = note(1800, 0.3, 0.05, 0.05);
    const auto gap = silence(kRate * 45 / 100);
    const auto counted = reals({concatenated({silence(4800), stick, gap, stick, gap, stick, gap, stick, gap, song})});
    CHECK(counted("isolated_head_events") == 4);
    CHECK(counted.measurement("isolated_head_events").where.at(0).start_s == doctest::Approx(0.1).epsilon(0.15));
    CHECK(reals({concatenated({note(200, 0.2, 0.6, 0.5), silence(kRate), song})})("isolated_head_events") == 1);
    CHECK(reals({song})("isolated_head_events") == 0);
    CHECK(reals({concatenated({note(330, 0.4, 1.5, 0.5), song})})("isolated_head_events") == 0);
    // Uneven, and no pause before the music.
    CHECK(reals({concatenated({stick, silence(kRate / 5), stick, silence(kRate * 7 / 10), stick, silence(kRate / 3), song})})(
              "isolated_head_events") == 0);
  }

  TEST_CASE("a count-in that rings, on the beat, is told from a beat that is the introduction and from a fill") {
    const auto song = tune(9);
    const auto bell = [](double hz, double peak) { return concatenated({note(hz, peak, 0.25, 0.19), silence(kRate / 2 - kRate * 19 / 100)}); };
    const auto before = [&](const Channels& strokes) {
      Samples x = silence(kRate / 3);
      for (const auto& stroke : strokes) x.insert(x.end(), stroke.begin(), stroke.end());
      return x;
    };
    const auto counted = reals({concatenated({before(Channels(4, bell(2500, 0.3))), song})});
    CHECK(counted("isolated_head_events") == 4);
    CHECK(counted.measurement("isolated_head_events").where.at(3).start_s == doctest::Approx(1.833).epsilon(0.02));
    CHECK(reals({concatenated({before(Channels(4, bell(300, 0.03))), song})})("isolated_head_events") == 4);
    // The beat goes on under the song: it was the introduction.
    Samples driven = song;
    const auto stroke = bell(2500, 0.3);
    for (std::size_t n = 0; n < driven.size(); ++n) driven[n] += stroke[n % stroke.size()];
    CHECK(reals({concatenated({before(Channels(4, stroke)), driven})})("isolated_head_events") == 0);
    // A fill: every stroke another.
    CHECK(reals({concatenated({before({bell(2500, 0.1), bell(1200, 0.2), bell(600, 0.4), bell(200, 0.5)}), song})})(
              "isolated_head_events") == 0);
    CHECK(reals({concatenated({before(Channels(2, stroke)), song})})("isolated_head_events") == 0);
  }

  TEST_CASE("sound behind a long silence is found however late it comes") {
    const auto song = tune(3);
    for (const int seconds : {3, 7, 70}) {
      const auto r = reals({concatenated({song, silence(kRate * seconds), scaled(song, 0.1)})});
      CAPTURE(seconds);
      CHECK(r("audio_after_silence") > seconds - 0.1);
      CHECK(r("audio_after_silence") < seconds + 1);
      CHECK(r.measurement("audio_after_silence").where.at(0).start_s == doctest::Approx(3 + seconds).epsilon(0.01));
    }
    CHECK(reals({concatenated({silence(kRate * 8), song, silence(kRate * 9)})})("audio_after_silence") < 0.5);
  }

  TEST_CASE("dips at one interval are counted; stops, decays, uneven ones and a loop's own rhythm are not") {
    auto song = tune(40);
    const auto air = noise(77, 0.02, static_cast<std::int64_t>(song.size()));
    for (std::size_t n = 0; n < song.size(); ++n) song[n] += air[n];
    const auto turned_down = [](Samples x, const std::vector<double>& at_s, double seconds, double by, double tail = 0) {
      for (const double at : at_s) {
        const auto first = static_cast<std::size_t>(at * kRate), count = static_cast<std::size_t>(seconds * kRate);
        for (std::size_t n = 0; n < count; ++n)
          x[first + n] *= by + tail * std::exp(-static_cast<double>(n) / (0.1 * static_cast<double>(count)));
      }
      return x;
    };
    for (const double by : {0.02, 0.1, 0.2}) {
      const auto r = reals({turned_down(song, {4.15, 9.85, 15.55, 21.25, 26.95}, 0.3, by)});
      CAPTURE(by);
      CHECK(r("periodic_bursts") >= 4);
      CHECK(r.measurement("periodic_bursts").where.at(1).start_s == doctest::Approx(9.85).epsilon(0.003));
      CHECK(r.measurement("periodic_bursts").where.at(1).end_s == doctest::Approx(10.15).epsilon(0.003));
      CHECK(r.measurement("periodic_bursts").note.find("dips, every 5.7") == 0);
    }
    const auto none = [](const Samples& x) { return reals({x})("periodic_bursts") == 0; };
    CHECK(none(turned_down(song, {4.3, 10.0}, 0.3, 0.02)));
    CHECK(none(turned_down(song, {4.3, 8.1, 14.2, 24.9}, 0.3, 0.02)));
    CHECK(none(turned_down(song, {4.3, 10.0, 15.7, 21.4}, 0.3, 0.6)));
    // Turned off altogether is the arrangement's, or a hole, which others count; what dies away is a note that ends.
    CHECK(none(turned_down(song, {4.3, 10.0, 15.7, 21.4}, 0.3, 0)));
    CHECK(none(turned_down(song, {4.3, 10.0, 15.7, 21.4}, 0.3, 0.02, 0.98)));
    const auto bar = turned_down(Samples(song.begin(), song.begin() + kRate * 5 + 211), {3.2}, 0.3, 0.05);
    CHECK(none(concatenated({bar, bar, bar, bar, bar})));
  }

  TEST_CASE("bursts of noise at one interval are counted, hits and single bursts are not") {
    auto song = tune(40);
    CHECK(reals({song})("periodic_bursts") == 0);
    const auto add = [](Samples x, const std::vector<double>& at_s, double seconds) {
      int number = 0;
      for (const double at : at_s) {
        const auto burst = noise(static_cast<std::uint32_t>(90 + number++), 0.05, static_cast<std::int64_t>(seconds * kRate));
        for (std::size_t n = 0; n < burst.size(); ++n) x[static_cast<std::size_t>(at * kRate) + n] += burst[n];
      }
      return x;
    };
    const auto r = reals({add(song, {5.2, 13.2, 21.2, 29.2}, 0.6)});
    CHECK(r("periodic_bursts") == 4);
    CHECK(r.measurement("periodic_bursts").where.at(1).start_s == doctest::Approx(13.2).epsilon(0.002));
    CHECK(r.measurement("periodic_bursts").note == "every 8.00 s");
    CHECK(reals({add(song, {5.2, 13.2}, 0.6)})("periodic_bursts") == 0);
    CHECK(reals({add(song, {5.2, 11.0, 21.2, 33.7}, 0.6)})("periodic_bursts") == 0);
    // A loop brings back the very same noise, here not on the grid of ticks.
    auto bar = Samples(song.begin(), song.begin() + kRate * 5 + 211);
    const auto own = noise(9, 0.05, kRate / 2);
    for (std::size_t n = 0; n < own.size(); ++n) bar[static_cast<std::size_t>(3.2 * kRate) + n] += own[n];
    CHECK(reals({concatenated({bar, bar, bar, bar, bar})})("periodic_bursts") == 0);
    // A processor that plays one recording over music that goes on.
    auto marked = song;
    const auto room = noise(11, 0.01, static_cast<std::int64_t>(song.size()));
    for (std::size_t n = 0; n < room.size(); ++n) marked[n] += room[n];
    for (const double at : {5.2, 13.33, 21.46, 29.59})
      for (std::size_t n = 0; n < own.size(); ++n) marked[static_cast<std::size_t>(at * kRate) + n] += own[n];
    CHECK(reals({marked})("periodic_bursts") == 4);
    // Eighths of a closed hi-hat: short, and they decay.
    auto hats = song;
    const auto hiss = noise(5, 0.3, 6000);
    for (std::size_t at = 0; at + 12000 < hats.size(); at += 12000) {
      for (std::size_t n = 0; n < hiss.size(); ++n) hats[at + n] += hiss[n] * std::pow(10.0, -3.0 * static_cast<double>(n) / 6000);
    }
    CHECK(reals({hats})("periodic_bursts") == 0);
  }
}
