// A folder of packaged music with an order, and what is asked of its sheet.
#pragma once

#include <doctest/doctest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <functional>
#include <string>
#include <variant>
#include <vector>

#include <sendworthy/deliver.h>

#include "faults/sample.h"

namespace ordered {

using namespace sendworthy;
using test::Clip;
using test::Wrapping;


/// A folder with files and an order.
struct Set {
  test::Folder folder;
  std::string head = "title = \"Low Water\"\nartist = \"Nobody Known\"\n", rest;

  Set() {
    write("loose.toml",
          "[ruleset]\nname = \"loose\"\ntitle = \"Loose\"\npurpose = \"Only that there is sound.\"\nsources = [\"definition\"]\n"
          "[[rule]]\nid = \"peak\"\nmeasure = \"sample_peak\"\nfail_above = 12.0\nwhy = \"Test.\"\nremedy = \"None.\"\nsource = \"definition\"\n");
  }
  void write(const std::string& name, const std::string& text) const {
    std::filesystem::create_directories(std::filesystem::path(folder.path + "/" + name).parent_path());
    std::ofstream(folder.path + "/" + name, std::ios::binary) << text;
  }
  /// Writes a sound and puts it on the order.
  void add(const std::string& version, const std::string& name, const Clip& clip, const std::string& more = "", const Wrapping& wrapping = {}) {
    put(name, clip, wrapping);
    item(version, name + ".wav", more);
  }
  void put(const std::string& name, const Clip& clip, const Wrapping& wrapping = {}) const { (void)test::write_sample(folder.path, name, clip, wrapping); }
  void item(const std::string& version, const std::string& file, const std::string& more = "") { rest += "\n[[item]]\nversion = \"" + version + "\"\nfile = \"" + file + "\"\n" + more; }

  Sheet check(const std::string& today = "2026-11-26") const {
    write("order.toml", "[order]\nrules = \"./loose.toml\"\n" + head + rest);
    OrderOptions options;
    options.check.today = today;
    options.check.jobs = 2;
    const auto sheet = check_order(folder.path + "/order.toml", options);
    REQUIRE_MESSAGE(sheet, to_string(sheet.error()));
    return *sheet;
  }
};

/// The worst finding of a rule, about a file of this name where one is given.
inline const Finding* found(const Sheet& sheet, const std::string& rule, const std::string& name = "") {
  const Finding* worst = nullptr;
  for (const auto& one : sheet.findings) {
    const bool about = name.empty() || std::ranges::any_of(one.files, [&](const std::string& path) { return path.ends_with("/" + name); });
    if (one.rule == rule && about && (worst == nullptr || one.status > worst->status)) worst = &one;
  }
  return worst;
}

inline Status status_of(const Sheet& sheet, const std::string& rule, const std::string& name = "") {
  const auto* finding = found(sheet, rule, name);
  REQUIRE_MESSAGE(finding != nullptr, rule);
  return finding->status;
}

inline std::string words_of(const Sheet& sheet, const std::string& rule, const std::string& name = "") {
  const auto* finding = found(sheet, rule, name);
  if (finding == nullptr) return "no finding";
  const auto* value = std::get_if<Value>(&finding->outcome);
  const auto* text = value != nullptr ? std::get_if<std::string>(value) : nullptr;
  return text != nullptr ? *text : std::get_if<NotMeasured>(&finding->outcome) != nullptr ? std::get<NotMeasured>(finding->outcome).reason : "";
}

inline bool has(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

inline Clip changed(const Clip& clip, const std::function<void(std::vector<double>&)>& change) {
  auto out = clip;
  for (auto& channel : out.channels) change(channel);
  return out;
}

inline Clip later(const Clip& clip, std::ptrdiff_t frames) {
  return changed(clip, [&](auto& x) {
    const auto length = x.size();
    x.insert(x.begin(), static_cast<std::size_t>(frames), 0.0);
    x.resize(length);
  });
}

inline Clip times(const Clip& clip, double factor) {
  return changed(clip, [&](auto& x) {
    for (auto& v : x) v *= factor;
  });
}

inline Clip sum(const Clip& a, const Clip& b) {
  auto out = a;
  for (std::size_t c = 0; c < a.channels.size(); ++c) {
    for (std::size_t n = 0; n < a.channels[c].size(); ++n) out.channels[c][n] += b.channels[c][n];
  }
  return out;
}

/// The song, its band and its singer: music for the band, other passages of it an octave up and with rests for the singer.
inline const Clip& band() {
  static const Clip kBand = times(test::music(), 0.5);
  return kBand;
}
inline const Clip& singer() {
  static const Clip kSinger = [] {
    auto voice = times(test::music(), 0.4);
    for (std::size_t c = 0; c < voice.channels.size(); ++c) {
      const auto& from = test::music().channels[c];
      auto& to = voice.channels[c];
      for (std::size_t n = 0; n < to.size(); ++n) {
        const bool rests = (n / static_cast<std::size_t>(voice.rate)) % 3 == 2;
        to[n] = rests ? 0 : 0.3 * from[(2 * n + 5 * static_cast<std::size_t>(voice.rate)) % from.size()];
      }
    }
    return voice;
  }();
  return kSinger;
}
inline const Clip& song() {
  static const Clip kSong = sum(band(), singer());
  return kSong;
}

/// Other music for `seconds` from `at_s` on.
inline Clip edited(const Clip& clip, double at_s, double seconds) {
  return changed(clip, [&](auto& x) {
    const auto at = static_cast<std::size_t>(at_s * clip.rate), count = static_cast<std::size_t>(seconds * clip.rate);
    for (std::size_t n = at; n < std::min(at + count, x.size()); ++n) x[n] = -0.8 * x[(n + 3 * static_cast<std::size_t>(clip.rate)) % x.size()];
  });
}

}  // namespace ordered
