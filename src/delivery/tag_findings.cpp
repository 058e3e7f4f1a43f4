// What tags and codes of a set say, against its order.
#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <map>
#include <set>

#include "base/text.h"
#include "base/unicode.h"
#include "delivery/fact_findings.h"
#include "delivery/set_rules.h"
#include "measure/tag_checks.h"

namespace sendworthy::delivery {
namespace {

std::string in_quotes(std::string_view text) { return fmt::format("\"{}\"", base::for_terminal(measure::shortened(text, 80))); }

std::string trimmed(std::string_view text) {
  const auto from = text.find_first_not_of(" \t\r\n"), to = text.find_last_not_of(" \t\r\n");
  return from == std::string_view::npos ? std::string() : std::string(text.substr(from, to - from + 1));
}

/// Vorbis comments have no comment of their own: programs write it as DESCRIPTION.
bool is_vorbis_comment(const Tag& tag) { return tag.name == "description" && tag.origin == "Vorbis comment"; }

std::vector<const Tag*> tags_called(const FileSheet& file, std::string_view name) {
  std::vector<const Tag*> found;
  for (const auto& tag : file.facts.tags) {
    if ((tag.name == name || (name == "barcode" && (tag.name == "upc" || tag.name == "ean")) || (name == "comment" && is_vorbis_comment(tag))) && !trimmed(tag.value).empty()) found.push_back(&tag);
  }
  return found;
}

/// "3/12" and "03" are track 3.
int track_number(std::string_view text) {
  int number = 0;
  const auto clean = trimmed(text);
  std::from_chars(clean.data(), clean.data() + clean.size(), number);
  return number;
}

struct Wanted {
  std::string name, value;
};

/// What the order says of a file, as far as it says anything.
std::vector<Wanted> wanted_of(const Members& members, const Member& member) {
  const auto& order = members.order;
  const auto& item = members.item_of(member);
  std::vector<Wanted> wanted{{"title", item.title}, {"artist", order.artist}, {"album", order.album_title}, {"isrc", item.isrc}};
  if (order.album) {
    wanted.push_back({"barcode", order.album->upc});
    const auto place = std::ranges::find(order.album->order, member.item);
    if (place != order.album->order.end()) wanted.push_back({"track", std::to_string(place - order.album->order.begin() + 1)});
  }
  std::erase_if(wanted, [](const Wanted& one) { return one.value.empty(); });
  return wanted;
}

bool says(std::string_view name, std::string_view value, std::string_view wanted, const Item& item) {
  if (name == "isrc") return measure::isrc_code(value) == measure::isrc_code(wanted);
  if (name == "barcode") return measure::gtin_code(value) == measure::gtin_code(wanted);
  if (name == "track") return track_number(value) == track_number(wanted);
  const auto is = base::composed(trimmed(value)), should = base::composed(trimmed(wanted));
  if (is == should) return true;
  // A title may name its version: "Song (Instrumental)", "Song - TV mix".
  if (name != "title" || item.version == Version::main || !is.starts_with(should)) return false;
  return measure::folded(is.substr(should.size())) == measure::folded(to_string(item.version)) ||
         measure::folded(is.substr(should.size())) == measure::folded(std::string(to_string(item.version)) + "version");
}

void file_tags(const Members& members, const Member& member, const TagRules& rules, std::vector<Finding>& findings) {
  if (!member.readable()) {
    findings.push_back(unmeasured("tags-match", "the file has no sheet", {member.path}));
    return;
  }
  std::vector<std::string> faults;
  for (const auto& name : rules.require) {
    if (tags_called(*member.file, name).empty()) faults.push_back(fmt::format("no {}", name));
  }
  for (const auto& name : rules.forbid) {
    const auto found = tags_called(*member.file, name);
    if (!found.empty()) faults.push_back(fmt::format("{} {} ({}{})", name, in_quotes(found.front()->value), base::for_terminal(found.front()->origin), name == "comment" && is_vorbis_comment(*found.front()) ? ", DESCRIPTION" : ""));
  }
  if (rules.match_order) {
    for (const auto& [name, value] : wanted_of(members, member)) {
      for (const auto* tag : tags_called(*member.file, name)) {
        if (!says(name, tag->value, value, members.item_of(member)))
          faults.push_back(fmt::format("{} is {} ({}), the order says {}", name, in_quotes(tag->value), base::for_terminal(tag->origin), in_quotes(value)));
      }
    }
  }
  constexpr std::size_t kShown = 6;
  std::string text;
  for (std::size_t i = 0; i < std::min(kShown, faults.size()); ++i) text += (i == 0 ? "" : "; ") + faults[i];
  if (faults.size() > kShown) text += fmt::format("; and {} more", faults.size() - kShown);
  findings.push_back(faults.empty() ? passed("tags-match", "yes", {member.path}) : faulted("tags-match", text, {member.path}));
}

struct Code {
  std::string code, origin;
};

/// Recording codes of a member: the order's, and those of its tags.
std::vector<Code> codes_of(const Members& members, const Member& member) {
  std::vector<Code> codes;
  const auto& ordered = members.item_of(member).isrc;
  if (!ordered.empty()) codes.push_back({ordered, "order"});
  if (member.readable()) {
    for (const auto* tag : tags_called(*member.file, "isrc")) codes.push_back({tag->value, tag->origin});
  }
  return codes;
}

void recording_codes(const Members& members, std::vector<Finding>& findings) {
  std::map<std::string, std::set<const Member*>> by_code;
  bool any = false, all_unique = true;
  for (const auto& member : members.all) {
    // Stems and cut files of one recording carry its code or none: they are not sold by themselves.
    const auto codes = codes_of(members, member);
    std::set<std::string> told;
    bool wrong = false;
    for (const auto& [text, origin] : codes) {
      const auto trouble = measure::isrc_trouble(text);
      if (!trouble.empty() && told.insert(text).second) {
        wrong = true;
        findings.push_back(faulted("isrc-valid", fmt::format("{} ({}): {}", in_quotes(text), base::for_terminal(origin), trouble), {member.path}));
      }
      if (trouble.empty() && members.item_of(member).version != Version::stem) by_code[measure::isrc_code(text)].insert(&member);
    }
    any = any || !codes.empty();
    if (!codes.empty() && !wrong) findings.push_back(passed("isrc-valid", measure::isrc_code(codes.front().code), {member.path}));
  }
  for (const auto& [code, owners] : by_code) {
    std::set<std::size_t> items;
    std::set<std::string> paths;
    for (const auto* one : owners) items.insert(one->item), paths.insert(one->path);
    if (items.size() < 2) continue;
    all_unique = false;
    findings.push_back(faulted("isrc-unique", fmt::format("{} on {} items", code, items.size()), {paths.begin(), paths.end()}));
  }
  if (any && all_unique) findings.push_back(passed("isrc-unique", "yes", {}));
}

}  // namespace

std::vector<Finding> tag_findings(const Members& members) {
  std::vector<Finding> findings;
  const auto& order = members.order;
  if (order.tags) {
    for (const auto& member : members.all) file_tags(members, member, *order.tags, findings);
  }
  recording_codes(members, findings);
  if (order.album && !order.album->upc.empty()) {
    const auto trouble = measure::gtin_trouble(order.album->upc);
    findings.push_back(trouble.empty() ? passed("upc-valid", base::for_terminal(order.album->upc), {}) : faulted("upc-valid", fmt::format("{}: {}", in_quotes(order.album->upc), trouble), {}));
  }
  return findings;
}

}  // namespace sendworthy::delivery
