#include "unit/song/arrangement.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <variant>

#include "base/text.h"
#include "faults/packaged.h"

namespace sendworthy::test {
namespace {

constexpr int kRate = 44100;
constexpr double kSeconds = 24;

struct Times {
  double first = 0, step = 1, to = kSeconds, longest = 99;
};

/// A sound again and again, faded out over 20 ms at its end, by a speed of its own; left and right by amplitude.
Clip played(const std::string& name, const Times& times, double gain, double pan = 0.5, double speed = 1) {
  const auto& sound = packaged_sound(name);
  double peak = 0;
  for (const double v : sound) peak = std::max(peak, std::abs(v));
  std::vector<double> out(static_cast<std::size_t>(kSeconds * kRate), 0.0);
  const auto length = std::min(static_cast<std::size_t>(times.longest * kRate), static_cast<std::size_t>(static_cast<double>(sound.size() - 1) / speed));
  for (double at_s = times.first; at_s < times.to - 1e-9; at_s += times.step) {
    const auto at = static_cast<std::size_t>(std::llround(at_s * kRate));
    for (std::size_t n = 0; n < length && at + n < out.size(); ++n) {
      const double fade = std::min(1.0, static_cast<double>(length - n) / (0.02 * kRate));
      out[at + n] += gain / peak * fade * sound[static_cast<std::size_t>(static_cast<double>(n) * speed)];
    }
  }
  auto right = out;
  for (auto& v : out) v *= std::min(1.0, 2 * (1 - pan));
  for (auto& v : right) v *= std::min(1.0, 2 * pan);
  return {kRate, {out, right}};
}

}  // namespace

Arrangement::Arrangement() {
  stems = {{"kick", "kick", 2, played("bd_haus", {0, 0.5}, 0.5)},
           {"snare", "snare", 3, played("drum_snare_soft", {0.5, 1}, 0.2)},
           {"bass", "bass", 2, played("bass_thick_c", {0.25, 1, kSeconds, 0.7}, 0.12)},
           {"keys", "keys", 4, played("ambi_piano", {0, 2, kSeconds, 1.9}, 0.1, 0.35)},
           {"voice", "lead vocal", 1, played("ambi_choir", {0.2, 3, kSeconds, 1.5}, 0.2)},
           {"backing", "backing vocal", 3, played("ambi_choir", {6.2, 3, kSeconds, 1.0}, 0.06, 0.65, 1.5)}};
  gain_all(-6, 0, 6);
  gain_all(-6, 12, 18);
  gain_all(1, 18, 24);
  wishes = {{"vocal", "above_band = [-20, 20]"},
            {"backing", "under_lead = [0, 30]"},
            {"dynamics", "quiet_to_loud = 3\nbiggest_margin = 0\nmovement = 2"},
            {"low_end", "kick_over_bass = 0\nbass_steadiness = 40\nlowest = \"kick\""},
            {"masking", "most = 90"},
            {"quiet", "moved = 60"}};
}

Clip& Arrangement::clip(const std::string& name) {
  const auto found = std::ranges::find(stems, name, &Stem::name);
  REQUIRE(found != stems.end());
  return found->clip;
}

void Arrangement::drop(const std::string& name) {
  std::erase_if(stems, [&](const Stem& one) { return one.name == name; });
}

void Arrangement::gain(const std::string& name, double db, double from_s, double to_s) {
  auto& one = clip(name);
  const double factor = std::pow(10, db / 20);
  for (auto& channel : one.channels) {
    for (auto n = static_cast<std::size_t>(from_s * kRate); n < std::min(channel.size(), static_cast<std::size_t>(to_s * kRate)); ++n) channel[n] *= factor;
  }
}

void Arrangement::gain_all(double db, double from_s, double to_s) {
  for (const auto& stem : stems) gain(stem.name, db, from_s, to_s);
}

Clip Arrangement::sum() const {
  Clip all{kRate, {std::vector<double>(static_cast<std::size_t>(kSeconds * kRate), 0.0), {}}};
  all.channels[1] = all.channels[0];
  for (const auto& stem : stems) {
    for (std::size_t c = 0; c < 2; ++c) {
      const auto& channel = stem.clip.channels[std::min(c, stem.clip.channels.size() - 1)];
      for (std::size_t n = 0; n < std::min(channel.size(), all.channels[c].size()); ++n) all.channels[c][n] += channel[n];
    }
  }
  return all;
}

std::string Arrangement::write(const std::string& folder) {
  (void)write_sample(folder, "mix", mix ? *mix : sum(), {});
  std::string text = "[song]\ntitle = \"Nine Small Lamps\"\nmix = \"mix.wav\"\nfeeling = \"" + feeling + "\"\napproach = \"" + approach + "\"\n";
  const std::vector<std::pair<std::string, double>> sections{{"verse", 0}, {"chorus", 6}, {"verse 2", 12}, {"last chorus", 18}};
  for (const auto& [name, start] : sections) {
    text += "[[section]]\nname = \"" + name + "\"\nstart = " + base::shortest(start) + "\nend = " + base::shortest(start + 6) + "\n";
    if (marked && name == "last chorus") text += "biggest = true\n";
    if (marked && name == "verse") text += "quietest = true\n";
  }
  for (const auto& stem : stems) {
    (void)write_sample(folder, stem.name, stem.clip, wrapping);
    text += "[[stem]]\nname = \"" + stem.name + "\"\nfile = \"" + stem.name + ".wav\"\nrole = \"" + stem.role + "\"\n";
    if (stem.priority > 0) text += "priority = " + std::to_string(stem.priority) + "\n";
  }
  for (const auto& [table, lines] : wishes) text += "[" + table + "]\n" + lines + "\n";
  auto path = folder + "/song.toml";
  std::ofstream(path) << text;
  return path;
}

Sheet Arrangement::check(int jobs) {
  const Folder folder;
  PlanOptions options;
  options.check.jobs = jobs;
  options.check.today = "2031-05-04";
  auto sheet = check_plan(write(folder.path), options);
  REQUIRE_MESSAGE(sheet.has_value(), (sheet ? std::string() : to_string(sheet.error())));
  REQUIRE(sheet->song != nullptr);
  return *sheet;
}

const Finding& finding(const Sheet& sheet, const std::string& id) {
  const auto found = std::ranges::find(sheet.findings, id, &Finding::rule);
  REQUIRE_MESSAGE(found != sheet.findings.end(), id);
  return *found;
}

std::string words_of_db(double amount) { return base::fixed(std::ceil(amount * 10 - 1e-6) / 10, 1) + " dB"; }

std::string words(const Sheet& sheet, const std::string& id) {
  const auto& one = finding(sheet, id);
  if (const auto* missing = std::get_if<NotMeasured>(&one.outcome)) return "not measured: " + missing->reason;
  return std::get<std::string>(std::get<Value>(one.outcome));
}

}  // namespace sendworthy::test
