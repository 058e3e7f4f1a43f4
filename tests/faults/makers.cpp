#include "faults/makers.h"

#include <stdlib.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <optional>

#include <doctest/doctest.h>

#include "faults/defects.h"

namespace sendworthy::test {

FileSheet check(const Sample& sample, const std::vector<RuleSet>& sets, const std::string& role) {
  const test::Folder folder;
  CheckOptions options;
  options.today = "2026-01-01";
  options.role = role;
  auto sheet = check_files({test::write_sample(folder.path, "sample", sample.clip, sample.wrapping)}, sets, options);
  return sheet.files.front();
}

namespace {

double reading(const Sample& sample, const std::string& id) {
  const auto sheet = check(sample, {}, "");
  for (const auto& m : sheet.measurements) {
    if (m.key == id) return number(m.outcome).value_or(std::nan(""));
  }
  return std::nan("");
}

// Turns a knob between 0 and 1 until the reading is what is wanted; the reading must rise or fall with it throughout.
void turn(Sample& sample, const std::string& id, double wanted, const std::function<void(Clip&, double)>& knob) {
  const Clip base = sample.clip;
  const auto at = [&](double x) {
    sample.clip = base;
    knob(sample.clip, x);
    return reading(sample, id);
  };
  double low = 0, high = 1;
  const bool rising = at(1) > at(0);
  for (int i = 0; i < 14; ++i) {
    const double middle = (low + high) / 2;
    ((at(middle) < wanted) == rising ? low : high) = middle;
  }
  at((low + high) / 2);
}

void by_gain(Sample& sample, const std::string& id, double wanted, double sign = 1) {
  sample.wrapping.bits = 32, sample.wrapping.real = true;  // room above full scale
  sample.clip.gain_db(sign * (wanted - reading(sample, id)));
}

// The same for a reading that is made on request only, and that follows the gain nearly but not exactly.
void by_gain_on_request(Sample& sample, double wanted) {
  sample.wrapping.bits = 32, sample.wrapping.real = true;
  Rule rule;
  rule.id = "asked";
  rule.measure = sample.request;
  rule.comparisons = {{.kind = LimitKind::above}};
  RuleSet asks;
  asks.rules = {rule};
  for (int i = 0; i < 6; ++i) {
    const auto sheet = check(sample, {asks}, "");
    const double off = wanted - number(sheet.findings.at(0).outcome).value_or(std::nan(""));
    if (std::abs(off) < 0.2) return;
    sample.clip.gain_db(off);
  }
}

}  // namespace

const std::map<std::string, Maker>& makers() {
  static const std::map<std::string, Maker> table{
      {"integrated_loudness", [](Sample& s, double v) { by_gain(s, "integrated_loudness", v); }},
      {"max_short_term_loudness", [](Sample& s, double v) { by_gain(s, "max_short_term_loudness", v); }},
      {"rms_level", [](Sample& s, double v) { by_gain(s, "rms_level", v); }},
      {"sample_peak", [](Sample& s, double v) { by_gain(s, "sample_peak", v); }},
      {"true_peak", [](Sample& s, double v) { by_gain(s, "true_peak", v); }},
      {"true_peak_after_lossy", [](Sample& s, double v) { by_gain_on_request(s, v); }},
      {"headroom", [](Sample& s, double v) { by_gain(s, "headroom", v, -1); }},
      {"loudness_range",
       [](Sample& s, double v) {
         lengthen(s.clip, 64);
         turn(s, "loudness_range", v, [](Clip& clip, double x) {
           for (auto& channel : clip.channels) {
             for (std::size_t n = channel.size() / 2; n < channel.size(); ++n) channel[n] *= std::pow(10.0, -2 * x);
           }
         });
       }},
      {"noise_floor",
       [](Sample& s, double v) {
         // A quarter of the file is a pause with noise in it.
         std::uint32_t state = 1;
         const double rms = std::pow(10.0, v / 20);
         for (auto& channel : s.clip.channels) {
           for (std::size_t n = channel.size() / 2; n < channel.size() * 3 / 4; ++n) {
             state = state * 1664525u + 1013904223u;
             channel[n] = rms * std::sqrt(3.0) * (2 * (state / 4294967296.0) - 1);
           }
         }
       }},
      {"limited_peaks", [](Sample& s, double v) { turn(s, "limited_peaks", v, limit); }},
      {"peak_to_loudness_ratio", [](Sample& s, double v) { turn(s, "peak_to_loudness_ratio", v, limit); }},
      {"dc_offset",
       [](Sample& s, double v) {
         const double is = reading(s, "dc_offset") / 100;
         s.clip.each([&](double x) { return x + v / 100 + (v > 0 ? is : 0) * 0.01; });
       }},
      {"leading_silence",
       [](Sample& s, double v) {
         const auto frames = static_cast<std::ptrdiff_t>(std::llround(std::max(0.0, v - reading(s, "leading_silence")) * s.clip.rate));
         for (auto& channel : s.clip.channels) channel.insert(channel.begin(), static_cast<std::size_t>(frames), 0.0);
       }},
      {"trailing_silence",
       [](Sample& s, double v) {
         // The loops end in silence of their own: cut to the sound first.
         const auto cut = static_cast<std::size_t>(reading(s, "trailing_silence") * s.clip.rate);
         const auto room = static_cast<std::size_t>(std::llround(v * s.clip.rate));
         for (auto& channel : s.clip.channels) {
           channel.resize(channel.size() - cut);
           channel.resize(channel.size() + room, 0.0);
         }
       }},
      {"phase_correlation", [](Sample& s, double v) { turn(s, "phase_correlation", v, turn_right); }},
      {"min_phase_correlation", [](Sample& s, double v) { turn(s, "min_phase_correlation", v, turn_right); }},
      {"low_phase_correlation", [](Sample& s, double v) { turn(s, "low_phase_correlation", v, turn_right); }},
      {"mono_fold_loss", [](Sample& s, double v) { turn(s, "mono_fold_loss", v, turn_right); }},
      {"side_to_mid", [](Sample& s, double v) { turn(s, "side_to_mid", v, turn_right); }},
      {"side_level_low", [](Sample& s, double v) { turn(s, "side_level_low", v, turn_right); }},
      {"channel_balance",
       [](Sample& s, double v) {
         const double factor = std::pow(10.0, (v - reading(s, "channel_balance")) / 20);
         for (auto& x : s.clip.channels[0]) x *= factor;
       }},
      {"duration",
       [](Sample& s, double v) {
         // Length does not depend on rate: long files are made slow to stay small.
         if (v > 100) s.clip.rate = 8000, s.wrapping.bits = 16, s.clip.channels.resize(1);
         lengthen(s.clip, v);
       }},
      {"frames",
       [](Sample& s, double v) {
         for (auto& channel : s.clip.channels) channel.resize(static_cast<std::size_t>(v));
       }},
      {"sample_rate", [](Sample& s, double v) { s.clip.rate = static_cast<int>(v); }},
      {"bit_depth", [](Sample& s, double v) { s.wrapping.bits = static_cast<int>(v); }},
      {"channels",
       [](Sample& s, double v) {
         const auto wanted = static_cast<std::size_t>(v);
         while (s.clip.channels.size() < wanted) {
           auto next = s.clip.channels[s.clip.channels.size() % 2];
           std::rotate(next.begin(), next.begin() + 1000 * static_cast<std::ptrdiff_t>(s.clip.channels.size()), next.end());
           s.clip.channels.push_back(std::move(next));
         }
         s.clip.channels.resize(wanted);
       }},
      {"bit_rate", [](Sample& s, double v) { s.wrapping.container = "MP3", s.wrapping.bit_rate_kbit_s = v < 192 ? 160 : 192; }},
      {"file_size", [](Sample& s, double v) { s.wrapping.container = "MP3", s.wrapping.pad_file_to = static_cast<std::int64_t>(v); }},
      {"effective_bit_depth",  // compared to the bit depth, so the value is their difference
       [](Sample& s, double v) {
         if (v > 0) {
           fill_low_bits(s.clip);
           s.wrapping.speakers = 3, s.wrapping.valid_bits = s.wrapping.bits - static_cast<int>(v);
           return;
         }
         const double step = std::ldexp(1.0, -(s.wrapping.bits + static_cast<int>(v)) + 1);
         s.clip.each([step](double x) { return std::round(x / step) * step; });
       }},
      {"header_consistency", [](Sample& s, double v) { s.wrapping.data_size_lies = v > 0; }},
      {"header_slips", [](Sample& s, double v) { s.wrapping.outer_size_off = v > 0 ? 12 : 0; }},
      {"stream_unproven", [](Sample& s, double v) { s.wrapping.container = "FLAC", s.wrapping.no_md5 = v > 0; }},
      {"stream_integrity", [](Sample& s, double v) { s.wrapping.container = "FLAC", s.wrapping.corrupt = v > 0; }},
      {"trailing_bytes", [](Sample& s, double v) { s.wrapping.trailing_bytes = v > 0 ? 20 : 0; }},
      {"embedded_artwork_bytes", [](Sample& s, double v) { s.wrapping.artwork = v > 0; }},
      {"non_finite_samples",
       [](Sample& s, double v) {
         s.wrapping.bits = 32, s.wrapping.real = true;
         if (v > 0) s.clip.channels[1][100000] = std::nan("");
       }},
      {"over_full_scale_samples",
       [](Sample& s, double v) {
         s.wrapping.bits = 32, s.wrapping.real = true;
         if (v > 0) s.clip.channels[0][100000] = 1.05;
       }},
      {"clipped_runs",
       [](Sample& s, double v) {
         // The whole mix half a decibel over: only its highest peaks are cut.
         if (v > 0) s.clip.gain_db(0.5 - reading(s, "sample_peak"));
       }},
      {"flat_top_runs",
       [](Sample& s, double v) {
         if (v <= 0) return;
         // Clipped, then turned down, the harder the more places.
         const Clip base = s.clip;
         for (double over = 0.1; over < 12; over += 0.1) {
           s.clip = base;
           s.clip.gain_db(over + 7.74).each([](double x) { return 0.8 * std::clamp(x, -1.0, 1.0); });
           if (reading(s, "flat_top_runs") >= v) return;
         }
       }},
      {"silent_channels", [](Sample& s, double v) { if (v > 0) for (auto& x : s.clip.channels.back()) x = 0; }},
      {"path_length",
       [](Sample& s, double v) {
         const auto folder = (std::filesystem::temp_directory_path() / "sendworthy-test-XXXXXX").string();
         s.wrapping.name = std::string(static_cast<std::size_t>(v) - folder.size() - 5, 'n');
       }},
      {"declared_loudness_error",
       [](Sample& s, double v) {
         s.wrapping.bext = true;
         s.wrapping.loudness = static_cast<int>(std::lround(100 * (reading(s, "integrated_loudness") + v)));
       }},
      {"declared_true_peak_error",
       [](Sample& s, double v) {
         s.wrapping.bext = true;
         s.wrapping.peak = static_cast<int>(std::lround(100 * (reading(s, "true_peak") + v)));
       }},
      {"declared_loudness_range_error",
       [](Sample& s, double v) {
         s.wrapping.bext = true;
         s.wrapping.range = static_cast<int>(std::lround(100 * (reading(s, "loudness_range") + v)));
       }},
      {"tag_faults", [](Sample& s, double v) { if (v > 0) s.wrapping.id3 = {{"TIT2", "Caf\xc3\xa9"}}; }},
      {"leftover_texts", [](Sample& s, double v) { if (v > 0) s.wrapping.info = {{"ICMT", "/Users/somebody/Sessions/a.wav"}}; }},
      {"cover_art_pixels",
       [](Sample& s, double v) {
         s.wrapping.artwork = true;
         s.wrapping.picture = png(static_cast<unsigned>(v), static_cast<unsigned>(v));
       }},
      {"lfe_bandwidth", [](Sample& s, double v) { only_bass(s.clip, 3, v); }},
      {"copied_channels", [](Sample& s, double v) { if (v > 0) s.clip.channels.back() = s.clip.channels.front(); }},
      {"cut_start",
       [](Sample& s, double v) {
         if (v <= 0) return;
         // From the middle of something loud.
         auto at = loud_frame(s.clip);
         while (std::abs(s.clip.channels[0][static_cast<std::size_t>(at)]) < 0.02) ++at;
         for (auto& channel : s.clip.channels) channel.erase(channel.begin(), channel.begin() + at);
       }},
      {"cut_tail",
       [](Sample& s, double v) {
         if (v > 0) {
           const auto end = static_cast<std::size_t>(loud_frame(s.clip)) + 480;
           for (auto& channel : s.clip.channels) channel.resize(end);
         } else {
           ring_out(s.clip);
         }
       }},
      {"tail_drop",
       [](Sample& s, double v) {
         // A steady decay that stops at the wanted level.
         ring_out(s.clip);
         if (v < -100) return;
         const auto tail = static_cast<std::size_t>(kRingS * s.clip.rate);
         for (auto& channel : s.clip.channels) {
           std::size_t end = channel.size();
           for (auto n = channel.size() - tail; n + 1000 < channel.size(); n += 100) {
             if (10 * std::log10(mean_square(channel, static_cast<std::int64_t>(n), 960) + 1e-20) < v + 0.5) {
               end = n + 960;
               break;
             }
           }
           std::fill(channel.begin() + static_cast<std::ptrdiff_t>(end), channel.end(), 0.0);
         }
         s.clip.channels[1] = s.clip.channels[0];
       }},
      {"loop_seam_step",
       [](Sample& s, double v) {
         ring_out(s.clip);
         // The end drifts away from where the start begins, which is soft.
         for (auto& channel : s.clip.channels) {
           for (std::size_t n = 0; n < 480; ++n) channel[n] *= static_cast<double>(n) / 480;
         }
         turn(s, "loop_seam_step", v, [](Clip& clip, double x) {
           const double step = std::pow(10.0, -5 * (1 - x));
           for (auto& channel : clip.channels) {
             for (std::size_t n = 0; n < 4800; ++n) channel[channel.size() - 4800 + n] += step * static_cast<double>(n) / 4800;
           }
         });
       }},
      {"loop_points",
       [](Sample& s, double v) {
         const auto frames = static_cast<std::uint32_t>(s.clip.channels[0].size());
         s.wrapping.loop = {frames / 4, v > 0 ? frames : frames - 1};
       }},
      {"fade_in",
       [](Sample& s, double v) {
         if (v > 0) fade(s.clip, [](std::size_t n, std::size_t) { return n; });
       }},
      {"fade_out",
       [](Sample& s, double v) {
         if (v > 0) fade(s.clip, [](std::size_t n, std::size_t size) { return size - 1 - n; });
       }},
      {"isolated_head_events",
       [](Sample& s, double v) {
         if (v <= 0) return;
         // A count of four at 120 beats a minute, made of a scrap of the music.
         const auto at = loud_frame(s.clip);
         for (auto& channel : s.clip.channels) {
           std::vector<double> count(96000, 0.0);
           for (std::size_t beat = 0; beat < 4; ++beat) {
             for (std::size_t n = 0; n < 2400; ++n)
               count[beat * 24000 + n] = channel[static_cast<std::size_t>(at) + n] * (1 - static_cast<double>(n) / 2400);
           }
           channel.insert(channel.begin(), count.begin(), count.end());
         }
       }},
      {"audio_after_silence",
       [](Sample& s, double v) {
         ring_out(s.clip);
         if (v <= 0) return;
         // A scrap of the song again, behind a silence.
         const double quiet = reading(s, "trailing_silence");
         for (auto& channel : s.clip.channels) {
           const std::vector<double> scrap(channel.begin(), channel.begin() + 48000);
           channel.resize(channel.size() + static_cast<std::size_t>(std::lround((v - quiet) * s.clip.rate)), 0.0);
           channel.insert(channel.end(), scrap.begin(), scrap.end());
         }
       }},
      {"periodic_bursts",
       [](Sample& s, double v) {
         if (v <= 0) return;
         std::uint32_t state = 7;
         for (std::size_t at = 24000; at + 30000 < s.clip.channels[0].size(); at += 168000) {
           for (auto& channel : s.clip.channels) {
             for (std::size_t n = 0; n < 24000; ++n) {
               state = state * 1664525u + 1013904223u;
               channel[at + n] += 0.2 * (state / 4294967296.0 - 0.5);
             }
           }
         }
       }},
      {"steady_tones",
       [](Sample& s, double v) {
         for (auto& channel : s.clip.channels) {
           for (std::size_t n = 0; v > 0 && n < channel.size(); ++n)
             channel[n] += 3e-3 * std::sin(2 * 3.14159265358979 * 17500 * static_cast<double>(n) / s.clip.rate);
         }
       }},
      {"mains_hum",
       [](Sample& s, double v) {
         pause(s.clip, -75);
         turn(s, "mains_hum", v, [](Clip& clip, double x) {
           for (auto& channel : clip.channels) {
             for (std::size_t n = 0; n < channel.size(); ++n) {
               const double t = 2 * 3.14159265358979 * static_cast<double>(n) / clip.rate;
               channel[n] += 1e-6 * std::pow(10.0, 3 * x) * (std::sin(50 * t) + std::sin(100 * t) + 0.5 * std::sin(150 * t));
             }
           }
         });
       }},
      {"noise_floor_steps",
       [](Sample& s, double v) {
         pause(s.clip, -60);
         if (v > 0) pause(s.clip, -72);
       }},
      {"start_step",
       [](Sample& s, double v) {
         // An offset that begins at once and leaves slowly.
         for (auto& channel : s.clip.channels) {
           for (std::size_t n = 0; n < 4800; ++n) channel[n] = std::pow(10.0, v / 20) * (1 - static_cast<double>(n) / 4800);
         }
       }},
      {"end_step",
       [](Sample& s, double v) {
         for (auto& channel : s.clip.channels) {
           for (std::size_t n = 0; n < 4800; ++n)
             channel[channel.size() - 1 - n] = std::pow(10.0, v / 20) * (1 - static_cast<double>(n) / 4800);
         }
       }},
      {"dropouts",
       [](Sample& s, double v) {
         const auto at = loud_frame(s.clip);
         if (v > 0) for (auto& channel : s.clip.channels) std::fill_n(channel.begin() + at, 480, 0.0);
       }},
      {"channel_dropouts",
       [](Sample& s, double v) {
         if (v > 0) std::fill_n(s.clip.channels.back().begin() + loud_frame(s.clip), 480, 0.0);
       }},
      {"repeated_blocks",
       [](Sample& s, double v) {
         if (v <= 0) return;
         const auto at = loud_frame(s.clip);
         for (auto& channel : s.clip.channels) {
           const std::vector<double> buffer(channel.begin() + at, channel.begin() + at + 512);
           channel.insert(channel.begin() + at + 512, buffer.begin(), buffer.end());
         }
       }},
      {"stuck_samples",
       [](Sample& s, double v) {
         if (v <= 0) return;
         auto& channel = s.clip.channels[0];
         auto at = loud_frame(s.clip);
         while (std::abs(channel[static_cast<std::size_t>(at)]) < 0.02 || std::abs(channel[static_cast<std::size_t>(at)]) > 0.3) ++at;
         std::fill_n(channel.begin() + at, 96, channel[static_cast<std::size_t>(at)]);
       }},
      {"clicks",
       [](Sample& s, double v) {
         if (v <= 0) return;
         // Into the calmest 20 ms of the music: elsewhere neither ear nor meter would find it.
         const auto at = static_cast<std::size_t>(calm_frame(s.clip));
         for (auto& channel : s.clip.channels) channel[at] += 0.1;
       }},
      {"render_grid_clicks",
       [](Sample& s, double v) {
         if (v <= 0) return;
         // Crackle in the twelve calmest of the places that buffers of 512 frames can break.
         std::vector<std::pair<double, std::int64_t>> places;
         for (std::int64_t n = 512 * 20; n + 4800 < s.clip.frames(); n += 512) {
           const auto& x = s.clip.channels[0];
           const double before = mean_square(x, n - 480, 480), after = mean_square(x, n, 480);
           if (std::min(before, after) > 1e-4 && std::max(before, after) < 3 * std::min(before, after))
             places.emplace_back(largest_bend(x, n, 200), n);
         }
         std::sort(places.begin(), places.end());
         for (std::size_t i = 0; i < 12; ++i) {
           for (auto& channel : s.clip.channels) channel[static_cast<std::size_t>(places.at(i).second)] += 0.2;
         }
       }},
      {"internal_silence",
       [](Sample& s, double v) {
         const auto at = loud_frame(s.clip);
         for (auto& channel : s.clip.channels) std::fill_n(channel.begin() + at, std::lround(v * s.clip.rate), 0.0);
       }},
      {"stuck_bits",
       [](Sample& s, double v) {
         fill_low_bits(s.clip);
         if (v <= 0) return;
         const auto at = loud_frame(s.clip);
         for (auto& channel : s.clip.channels) {
           for (auto n = at; n < at + s.clip.rate; ++n) {
             auto& x = channel[static_cast<std::size_t>(n)];
             x = std::floor(x * 32768) / 32768;
           }
         }
       }},
      {"subsonic_level",
       [](Sample& s, double v) {
         turn(s, "subsonic_level", v, [](Clip& clip, double x) {
           for (auto& channel : clip.channels) {
             for (std::size_t n = 0; n < channel.size(); ++n)
               channel[n] += 0.3 * x * std::sin(2 * 3.14159265358979 * 11 * static_cast<double>(n) / clip.rate);
           }
         });
       }},
      {"inter_channel_delay",
       [](Sample& s, double v) {
         if (v == 0) {
           s.clip.channels[1] = s.clip.channels[0];
           return;
         }
         s.clip.channels[1] = s.clip.channels[0];
         std::rotate(s.clip.channels[1].rbegin(), s.clip.channels[1].rbegin() + static_cast<std::ptrdiff_t>(v), s.clip.channels[1].rend());
       }},
  };
  return table;
}

// Yes or no, a text, a list: there is no number to aim at, only the value itself.
void make_value(Sample& s, const std::string& id, const Value& wanted) {
  if (const auto* text = std::get_if<std::string>(&wanted)) {
    if (id == "container") {
      s.wrapping.container = *text;
    } else if (id == "bit_rate_mode") {
      s.wrapping.container = "MP3", s.wrapping.variable_bit_rate = *text != "constant";
    } else if (id == "encoding") {
      s.wrapping.codec = *text == "coded" ? "ulaw" : "";
    } else if (id == "integer_valued_float") {
      s.wrapping.bits = 32, s.wrapping.real = true;
      if (*text == "none") fill_low_bits(s.clip);
      s.clip.each([&](double x) { return *text == "none" ? x : std::round(x * 32768) / 32768; });
    } else if (id == "gain_changed_word_length") {
      if (*text == "none") fill_low_bits(s.clip);
      s.clip.each([&](double x) { return *text == "none" ? x : 0.7 * std::round(x * 32768) / 32768; });
    } else if (id == "truncated_word_length") {
      shorten_with_tail(s.clip, *text == "none");
    } else if (id == "lossy_source") {
      if (*text != "none") end_at(s.clip, 16000), punch_holes(s.clip);
    } else if (id == "upsampled_source") {
      // Some evidence: less than half of it was converted.
      auto whole = s.clip;
      if (*text != "none") end_at(s.clip, 0.9 * 44100 / 2 + 1900);
      if (*text == "some") {
        for (std::size_t c = 0; c < whole.channels.size(); ++c) {
          auto& channel = s.clip.channels[c];
          const auto& native = whole.channels[c];
          const auto from = static_cast<std::ptrdiff_t>(channel.size() * 2 / 5);
          std::copy(native.begin() + from, native.begin() + static_cast<std::ptrdiff_t>(channel.size()), channel.begin() + from);
        }
      }
    } else if (id == "imaging") {
      // Every second frame from a straight line between its neighbours.
      if (*text != "none") {
        for (auto& channel : s.clip.channels) {
          for (std::size_t n = 1; n + 1 < channel.size(); n += 2) channel[n] = (channel[n - 1] + channel[n + 1]) / 2;
        }
      }
    } else if (id == "click_bleed") {
      const auto [from, to] = pause(s.clip, -80);
      for (std::size_t at = from + 4800; *text != "none" && at + 4800 < to; at += 24000) {
        for (auto& channel : s.clip.channels) {
          for (std::size_t n = 0; n < 480; ++n) channel[at + n] += 0.003 * std::sin(0.26 * static_cast<double>(n)) * (1 - static_cast<double>(n) / 480);
        }
      }
    } else if (id == "lineup_tone") {
      if (*text == "none") return;
      for (auto& channel : s.clip.channels) {
        std::vector<double> tone(static_cast<std::size_t>(10 * s.clip.rate));
        for (std::size_t n = 0; n < tone.size(); ++n)
          tone[n] = 0.126 * std::sin(2 * 3.14159265358979 * 1000 * static_cast<double>(n) / s.clip.rate);
        channel.insert(channel.begin(), tone.begin(), tone.end());
      }
    } else if (id == "chunks") {
      s.wrapping.bext = *text == "bext";
      if (*text == "id3") s.wrapping.id3 = {{"TIT2", "Paper Moonrise"}};
    } else if (id == "name_characters") {
      s.wrapping.name = *text == "coded" ? "sam:ple" : *text == "ok" || *text == "plain" ? "sample" : "-sample";
    } else if (id == "name_words") {
      s.wrapping.name = *text == "none" ? "sample mix3" : "sample final";
    } else if (id == "tags_match_name") {
      s.wrapping.name = "03 Paper Moonrise";
      s.wrapping.id3 = {{"TIT2", *text == "ok" ? "Paper Moonrise" : "Glass Harbour"}, {"TRCK", "3"}};
    } else if (id == "unusual_chunks") {
      s.wrapping.odd_chunk = *text != "none";
    } else if (id == "bext_place") {
      s.wrapping.bext = s.wrapping.bext_behind = *text != "none";
    } else if (id == "isrc") {
      s.wrapping.id3 = {{"TSRC", *text == "ok" ? "AA-6Q7-20-00047" : "AA6Q7200OO47"}};
    } else if (id == "gtin") {
      s.wrapping.id3 = {{"TXXX:BARCODE", *text == "ok" ? "6291041500213" : "6291041500214"}};
    } else if (id == "cover_art") {
      s.wrapping.artwork = true;
      s.wrapping.picture = png(3000, *text == "plain" ? 3000 : 2900);
    } else if (id == "tag_title") {
      s.wrapping.title = *text == "plain" ? "Paper Moonrise" : "";
    } else if (id == "channel_order_suspect") {
      if (*text == "coded") only_bass(s.clip, 5, 120);
      if (*text == "plain" || *text == "ok") only_bass(s.clip, 3, 120);
    } else if (id == "timecode_consistency") {
      s.wrapping.bext = true;
      s.wrapping.start_sample = 48000 * 3600;
      s.wrapping.ixml = "<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>0</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI><TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>" +
                        std::string(*text == "coded" ? "172802000" : "172800000") + "</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>";
      if (*text != "plain" && *text != "coded" && *text != "ok") s.wrapping.history = "A=PCM,F=44100,W=24,M=stereo\r\n";
    } else {
      FAIL("no maker for the text " << id);
    }
  } else if (const auto* yes = std::get_if<bool>(&wanted)) {
    if (id == "extension_matches") {
      if (!*yes) s.wrapping.extension = "flac";
    } else if (id == "name_matches_header") {
      s.wrapping.name = *yes ? "sample 48k24" : "sample 44.1k24";
    } else if (id == "half_of_stereo") {
      s.wrapping.name = *yes ? "sample.L" : "sample";
      s.wrapping.sister = *yes;
    } else if (id == "channel_layout_known") {
      if (*yes) s.wrapping.speakers = (1u << s.clip.channels.size()) - 1;
    } else if (id == "dual_mono") {
      if (*yes) s.clip.channels[1] = s.clip.channels[0];
    } else if (id == "inverted_channel") {
      if (*yes) std::transform(s.clip.channels[0].begin(), s.clip.channels[0].end(), s.clip.channels[1].begin(), std::negate<>());
    } else if (id == "implausible_scale") {
      s.wrapping.bits = 32, s.wrapping.real = true;
      if (*yes) s.clip.each([](double x) { return x * 32768; });
    } else if (id == "byte_order_suspect") {
      s.clip.gain_db(6);
      s.wrapping.swap_bytes = *yes;
    } else {
      const auto maker = makers().find(id);
      REQUIRE_MESSAGE(maker != makers().end(), "no maker for " << id);
      maker->second(s, *yes ? 1 : 0);
    }
  } else {
    const auto maker = makers().find(id);
    REQUIRE_MESSAGE(maker != makers().end(), "no maker for " << id);
    maker->second(s, std::get<double>(wanted));
  }
}

}  // namespace sendworthy::test
