#include "delivery/fact_findings.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "base/text.h"
#include "base/unicode.h"
#include "delivery/gather.h"
#include "delivery/set_rules.h"
#include "measure/name_checks.h"

namespace sendworthy::delivery {
namespace {

std::string in_quotes(std::string_view text) { return fmt::format("\"{}\"", base::for_terminal(text)); }

std::string bits_of(const Facts& facts) {
  if (!facts.bit_depth) return {};
  return fmt::format("{}{}", *facts.bit_depth, facts.encoding.starts_with("float") ? "f" : "");
}

std::string rate_and_depth_of(const Facts& facts) {
  const auto bits = bits_of(facts);
  return fmt::format("{} kHz, {}", rate_field(facts.sample_rate), bits.empty() ? base::for_terminal(facts.encoding) : facts.encoding.starts_with("float") ? fmt::format("{}-bit float", *facts.bit_depth) : bits + "-bit");
}

std::string format_of(const Facts& facts) {
  return rate_and_depth_of(facts) + (facts.channels == 1 ? ", mono" : facts.channels == 2 ? ", stereo" : fmt::format(", {} channels", facts.channels));
}

std::vector<std::string> one_of_these(std::string text) { return text.empty() ? std::vector<std::string>{} : std::vector<std::string>{std::move(text)}; }

NamePattern::Fields fields_of(const Members& members, const Member& member, const NamePattern& pattern) {
  const auto& order = members.order;
  const auto& item = members.item_of(member);
  NamePattern::Fields fields;
  fields["artist"] = {order.artist};
  fields["title"] = {item.title};
  fields["album"] = one_of_these(order.album_title);
  fields["client"] = one_of_these(order.client);
  fields["isrc"] = one_of_these(item.isrc);
  fields["role"] = one_of_these(item.role);
  const auto version = std::string(to_string(item.version));
  auto hyphened = version;
  std::ranges::replace(hyphened, ' ', '-');
  auto& versions = fields["version"];
  versions = {version, hyphened};
  if (item.version == Version::stem) {
    // Which stem it is has to stand somewhere: where the pattern has no role, it is a part of the version.
    if (!pattern.uses("role") && !item.role.empty()) versions = {"stem " + item.role, item.role, "stem-" + item.role};
    if (!pattern.uses("role") && item.role.empty()) versions = {};
  } else if (item.version == Version::cut_down && item.length_s) {
    const auto seconds = base::shortest(*item.length_s);
    versions.insert(versions.end(), {version + " " + seconds, version + " " + seconds + "s", version + "-" + seconds, seconds + "s", version + "-" + seconds + "s"});
  }
  if (order.album) {
    const auto place = std::ranges::find(order.album->order, member.item);
    if (place != order.album->order.end()) {
      const auto number = place - order.album->order.begin() + 1;
      fields["track"] = {fmt::format("{:02}", number), std::to_string(number)};
    }
  }
  if (member.readable()) {
    fields["rate"] = {rate_field(member.file->facts.sample_rate)};
    fields["bits"] = one_of_these(bits_of(member.file->facts));
    fields["channels"] = {std::to_string(member.file->facts.channels)};
  }
  return fields;
}

void pattern_findings(const Members& members, const NamePattern& pattern, std::vector<Finding>& findings) {
  for (const auto& member : members.all) {
    const auto stem = measure::stem_of(measure::file_name_of(member.relative));
    const auto fields = fields_of(members, member, pattern);
    const bool needs_header = pattern.uses("rate") || pattern.uses("bits") || pattern.uses("channels");
    if (needs_header && !member.readable()) {
      findings.push_back(unmeasured("name-pattern", "the file has no sheet, so its rate and depth are not known", {member.path}));
    } else if (pattern.matches(stem, fields)) {
      findings.push_back(passed("name-pattern", "yes", {member.path}));
    } else {
      findings.push_back(faulted("name-pattern", fmt::format("{}, should be {}", in_quotes(stem), in_quotes(pattern.expected(fields))), {member.path}));
    }
  }
}

void conflict_findings(const Members& members, const std::vector<std::string>& all, std::vector<Finding>& findings) {
  std::map<std::string, std::set<std::string>> by_folded;
  for (const auto& name : all) by_folded[base::case_folded(name)].insert(name);
  bool any = false;
  for (const auto& [folded, names] : by_folded) {
    if (names.size() < 2) continue;
    any = true;
    std::set<std::string> composed;
    std::vector<std::string> paths;
    for (const auto& name : names) composed.insert(base::composed(name)), paths.push_back(shown(members.order, name));
    findings.push_back(faulted("name-conflict", composed.size() == 1 ? "names that differ only in how an accent is typed" : "names that differ only in capitals", std::move(paths)));
  }
  if (!any) findings.push_back(passed("name-conflict", "none", {}));
}

void sequence_findings(const Members& members, std::vector<Finding>& findings) {
  struct Numbered {
    int number;
    std::string path;
  };
  std::map<std::string, std::vector<Numbered>> folders;
  for (const auto& member : members.all) {
    const auto slash = member.relative.rfind('/');
    const auto number = measure::track_in_name(measure::stem_of(measure::file_name_of(member.relative)), members.item_of(member).title);
    if (number) folders[slash == std::string::npos ? "" : member.relative.substr(0, slash)].push_back({*number, member.path});
  }
  bool any = false, numbered = false;
  for (auto& [folder, files] : folders) {
    if (files.size() < 2) continue;
    numbered = true;
    std::ranges::sort(files, {}, [](const Numbered& one) { return std::pair(one.number, one.path); });
    for (std::size_t i = 1; i < files.size(); ++i) {
      const int step = files[i].number - files[i - 1].number;
      if (step == 1) continue;
      any = true;
      findings.push_back(faulted("sequence-numbers", step == 0 ? fmt::format("number {} twice", files[i].number)
                                                     : step == 2 ? fmt::format("number {} is not there", files[i].number - 1)
                                                                 : fmt::format("numbers {} to {} are not there", files[i - 1].number + 1, files[i].number - 1),
                                 {files[i - 1].path, files[i].path}));
    }
  }
  if (!any) findings.push_back(passed("sequence-numbers", numbered ? "in order" : "none numbered", {}));
}

std::optional<bool> is_dual_mono(const FileSheet& file) {
  const auto found = std::ranges::find(file.measurements, "dual_mono", &Measurement::key);
  if (found == file.measurements.end()) return std::nullopt;
  const auto* value = std::get_if<Value>(&found->outcome);
  const auto* flag = value != nullptr ? std::get_if<bool>(value) : nullptr;
  return flag != nullptr ? std::optional(*flag) : std::nullopt;
}

bool has_rules_of_its_own(const Members& members, const Member& member) {
  const auto& own = members.item_of(member).rules;
  return !own.empty() && own != members.order.rules && members.item_of(member).version != Version::stem;
}

void same_format(const Members& members, std::vector<Finding>& findings) {
  // Held against the main mix, and where there is none against the first file that can be read.
  for (const auto& member : members.all) {
    if (has_rules_of_its_own(members, member)) continue;
    const auto* other = members.reference(member);
    if (other == nullptr || other->file == member.file) {
      for (const auto& one : members.all) {
        if (one.readable() && !has_rules_of_its_own(members, one)) {
          other = &one;
          break;
        }
      }
    }
    if (!member.readable()) {
      findings.push_back(unmeasured("same-format", "the file has no sheet", {member.path}));
    } else if (other == nullptr || !other->readable()) {
      findings.push_back(unmeasured("same-format", "what it is held against has no sheet", {member.path}));
    } else if (other->file != member.file) {
      // A stem may have fewer channels than its mix: it is panned there.
      const bool channels = members.item_of(member).version != Version::stem && members.item_of(*other).version != Version::stem;
      const auto mine = format_of(member.file->facts), theirs = format_of(other->file->facts);
      const bool alike = channels ? mine == theirs : rate_and_depth_of(member.file->facts) == rate_and_depth_of(other->file->facts);
      // One voice in the middle has one sound on both channels; a band beside a stereo mix has not.
      const bool folded = channels && members.item_of(member).version != Version::a_cappella && is_dual_mono(*member.file) == true && is_dual_mono(*other->file) == false;
      findings.push_back(alike && folded ? with_status("same-format", Status::warn, mine + " with one sound on both channels, which the other has not", {member.path, other->path})
                         : alike ? passed("same-format", mine, {member.path, other->path}) : faulted("same-format", fmt::format("{}, the other {}", mine, theirs), {member.path, other->path}));
    }
  }
}

void lengths(const Members& members, std::vector<Finding>& findings) {
  std::map<std::string, std::vector<std::string>> without;  // files by the reason; stems are many
  for (const auto& member : members.all) {
    const auto& item = members.item_of(member);
    if (item.length_s) {
      if (!member.readable()) {
        findings.push_back(unmeasured("exact-length", "the file has no sheet", {member.path}));
      } else {
        const auto wanted = std::llround(*item.length_s * member.file->facts.sample_rate);
        const auto off = member.file->facts.frames - wanted;
        findings.push_back(off == 0 ? passed("exact-length", fmt::format("{} frames", wanted), {member.path})
                                    : faulted("exact-length", fmt::format("{} frames, {} {} than {} s", member.file->facts.frames, std::abs(off), off > 0 ? "more" : "fewer", base::shortest(*item.length_s)), {member.path}));
      }
    }
    const auto* other = members.reference(member);
    if (!is_whole_song(item.version) || (item.version == Version::main && item.against.empty()) || item.length_s) continue;
    if (other == nullptr) {
      auto& files = without[members.without_reference(member)];
      files.push_back(member.path);
      continue;
    }
    if (!member.readable() || !other->readable()) {
      findings.push_back(unmeasured("same-length", member.readable() ? "what it is held against has no sheet" : "the file has no sheet", {member.path, other->path}));
      continue;
    }
    const auto& mine = member.file->facts;
    const auto& theirs = other->file->facts;
    if (mine.sample_rate != theirs.sample_rate) {
      // At another rate a whole number of frames cannot be the same time; a frame either way is.
      const double off = mine.duration_s - theirs.duration_s;
      findings.push_back(std::abs(off) * std::min(mine.sample_rate, theirs.sample_rate) <= 1 ? passed("same-length", fmt::format("{} s", base::fixed(mine.duration_s, 3)), {member.path, other->path})
                                                                                             : faulted("same-length", fmt::format("{} {}", time_in_words(std::abs(off), 3), off > 0 ? "longer" : "shorter"), {member.path, other->path}));
      continue;
    }
    const auto off = mine.frames - theirs.frames;
    findings.push_back(off == 0 ? passed("same-length", fmt::format("{} frames", mine.frames), {member.path, other->path})
                                : faulted("same-length", fmt::format("{} {} {} ({})", std::abs(off), std::abs(off) == 1 ? "frame" : "frames", off > 0 ? "longer" : "shorter", time_in_words(std::abs(static_cast<double>(off)) / mine.sample_rate, 3)), {member.path, other->path}));
  }
  for (auto& [reason, files] : without) findings.push_back(unmeasured("same-length", reason, std::move(files), kAddMain));
}

void identical(const Members& members, std::vector<Finding>& findings) {
  std::map<std::string, std::vector<const Member*>> by_sound;
  for (const auto& member : members.all) {
    if (member.readable() && !member.file->audio_digest.empty()) by_sound[member.file->audio_digest].push_back(&member);
  }
  for (const auto& [digest, same] : by_sound) {
    std::set<std::string> paths;
    for (const auto* one : same) paths.insert(one->path);
    if (paths.size() < 2) continue;
    findings.push_back(faulted("not-identical", fmt::format("{} files hold one and the same sound", paths.size()), {paths.begin(), paths.end()}));
  }
}

}  // namespace

std::vector<Finding> name_findings(const Members& members, const std::optional<NamePattern>& pattern, const std::vector<std::string>& all) {
  std::vector<Finding> findings;
  if (pattern) pattern_findings(members, *pattern, findings);
  conflict_findings(members, all, findings);
  sequence_findings(members, findings);
  return findings;
}

std::vector<Finding> format_findings(const Members& members) {
  std::vector<Finding> findings;
  same_format(members, findings);
  lengths(members, findings);
  identical(members, findings);
  return findings;
}

}  // namespace sendworthy::delivery
