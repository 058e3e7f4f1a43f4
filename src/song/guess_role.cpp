// What a stem plays, guessed from its name.
#include <algorithm>
#include <cstddef>
#include <initializer_list>
#include <iterator>
#include <set>

#include "measure/name_checks.h"
#include "song/new_plan.h"

namespace sendworthy::song {
namespace {

using Words = std::vector<std::string>;

bool has_any(const Words& words, std::initializer_list<std::string_view> wanted) {
  return std::ranges::any_of(words, [&](const std::string& word) { return std::ranges::find(wanted, word) != wanted.end(); });
}

bool has_pair(const Words& words, std::string_view first, std::string_view second) {
  for (std::size_t i = 1; i < words.size(); ++i) {
    if (words[i - 1] == first && words[i] == second) return true;
  }
  return false;
}

/// "kick2" is a kick; "808" and "b3" are names.
std::string without_number(std::string word) {
  const auto letters = word.find_last_not_of("0123456789");
  if (letters != std::string::npos && letters > 0) word.erase(letters + 1);
  return word;
}

Words words_of(std::string_view file_name) {
  auto words = measure::name_parts(measure::stem_of(measure::file_name_of(file_name)));
  for (auto& word : words) word = without_number(std::move(word));
  return words;
}

/// Words that mean one thing by habit, where nothing says what plays: "Dbl L" is a voice, "Gtr Dbl" is none; "Acoustic" is a guitar,
/// "Acoustic Piano" is none.
std::optional<Role> role_by_habit(const Words& words) {
  const bool playback = has_any(words, {"track", "tracks"});  // a backing track is a whole band
  if (!playback && (has_any(words, {"backing", "backings", "background", "bg", "harmony", "harmonies", "harms", "double", "doubles", "dbl", "dbls", "adlib", "adlibs", "gang"}) ||
                    has_pair(words, "ad", "lib") || has_pair(words, "ad", "libs")))
    return Role::backing_vocal;
  if (has_any(words, {"room", "rooms"})) return Role::drums;
  if (has_any(words, {"upright"})) return Role::bass;
  if (has_any(words, {"acoustic", "electric", "elec", "nylon", "strum", "strums"})) return Role::guitar;
  return std::nullopt;
}

/// The first that fits, from words that mean one thing to words that mean many: "Bass Drum" is no bass, "Lead Vox" no lead.
std::optional<Role> role_by(const Words& words) {
  const bool vocal = has_any(words, {"vox", "vocal", "vocals", "voc", "vocs", "voice", "voices", "vx", "singer", "rap"});
  if (has_any(words, {"fx", "sfx", "efx", "effect", "effects", "reverb", "verb", "rvb", "delay", "dly", "echo", "riser", "risers", "impact", "impacts",
                      "sweep", "sweeps", "whoosh", "swell", "swells", "downlifter", "uplifter", "transition", "transitions", "foley", "glitch", "noise", "returns"}))
    return Role::effects;
  // By itself it counts revisions: "Vox Rev" is a reverb, "Rev 2" is none.
  if (words.size() > 1 && words.back() == "rev") return Role::effects;
  if (has_any(words, {"bv", "bvs", "bgv", "bgvs", "bgvox", "bvox", "backingvox", "backingvocal", "backingvocals", "choir", "choirs", "bgs", "oohs", "aahs", "ooh", "aah"})) return Role::backing_vocal;
  if (vocal && has_any(words, {"back", "backing", "background", "backup", "bg", "bk", "harmony", "harmonies", "harm", "harms", "harmo", "gang", "group", "double",
                               "doubles", "doubled", "dbl", "dbls", "dub", "dubs", "stack", "stacks", "adlib", "adlibs", "crowd"}))
    return Role::backing_vocal;
  if (vocal && has_pair(words, "ad", "lib")) return Role::backing_vocal;
  if (vocal || has_any(words, {"ldvox", "leadvox", "ldvx", "leadvocal", "leadvocals", "ldvoc", "ldv", "lv", "acapella", "acappella"})) return Role::lead_vocal;
  if (has_any(words, {"kick", "kicks", "kickdrum", "kickdrums", "kik", "kck", "kd", "bd", "bassdrum"}) || has_pair(words, "bass", "drum")) return Role::kick;
  if (has_any(words, {"snare", "snares", "snaredrum", "snaredrums", "snr", "sn", "sd", "rim", "rimshot", "sidestick"})) return Role::snare;
  if (has_any(words, {"perc", "percs", "percussion", "shaker", "shakers", "shk", "tamb", "tambourine", "conga", "congas", "bongo", "bongos", "clap", "claps", "snap",
                      "snaps", "cowbell", "guiro", "cajon", "triangle", "timbale", "timbales", "djembe", "tabla", "maracas", "woodblock", "timpani", "timps"}))
    return Role::percussion;
  if (has_any(words, {"drum", "drums", "drm", "drms", "oh", "ohs", "overhead", "overheads", "tom", "toms", "hat", "hats", "hh", "hihat", "hihats", "ride", "crash", "cym",
                      "cyms", "cymbal", "cymbals", "kit", "drumkit", "drumkits", "drumloop", "drumloops", "beat", "beats", "breakbeat", "china", "splash"}))
    return Role::drums;
  if (has_any(words, {"bass", "basses", "bassguitar", "bs", "bassgtr", "sub", "subs", "subbass", "808", "808s", "contrabass"})) return Role::bass;
  if (has_any(words, {"lead", "leads", "ld", "solo", "melody", "hook"})) return Role::lead;
  if (has_any(words, {"guitar", "guitars", "gtr", "gtrs", "gt", "gts", "git", "gits", "egtr", "agtr", "elgtr", "acgtr", "banjo", "mandolin", "ukulele", "uke", "dobro",
                      "steel"}))
    return Role::guitar;
  if (has_any(words, {"string", "strings", "strs", "violin", "violins", "vln", "viola", "violas", "vla", "cello", "cellos", "celli", "orchestra", "orch", "pizz", "fiddle", "harp"}))
    return Role::strings;
  if (has_any(words, {"brass", "horn", "horns", "trumpet", "trumpets", "tpt", "trombone", "trombones", "tbn", "sax", "saxes", "saxophone", "tuba", "flugelhorn"}))
    return Role::brass;
  if (has_any(words, {"pad", "pads", "drone", "drones", "texture", "textures", "ambience"})) return Role::pad;
  if (has_any(words, {"keys", "keyboard", "keyboards", "kbd", "piano", "pianos", "pno", "rhodes", "wurli", "wurly", "wurlitzer", "organ", "org", "hammond", "b3", "clav",
                      "clavinet", "synth", "synths", "syn", "arp", "arps", "pluck", "plucks", "epiano", "harpsichord", "celeste", "celesta", "accordion", "mellotron", "vibraphone", "marimba", "glockenspiel"}))
    return Role::keys;
  return role_by_habit(words);
}

int rank_of(Role role) {
  switch (role) {
    case Role::lead_vocal: return 0;
    case Role::kick:
    case Role::snare:
    case Role::drums: return 1;
    case Role::bass:
    case Role::lead: return 2;
    case Role::backing_vocal: return 3;
    case Role::guitar:
    case Role::keys:
    case Role::strings:
    case Role::brass: return 4;
    case Role::percussion: return 5;
    default: return 6;
  }
}

}  // namespace

std::optional<Role> guess_role(std::string_view file_name) { return role_by(words_of(file_name)); }

std::vector<std::optional<Role>> guess_roles(const std::vector<std::string>& file_names) {
  std::vector<Words> all;
  for (const auto& name : file_names) all.push_back(words_of(name));
  // Of fewer, what they begin with may as well be what they are: "Vox Lead", "Vox Double".
  constexpr std::size_t kFewest = 4;
  std::size_t common = all.size() < kFewest ? 0 : all.front().size();
  for (const auto& words : all) {
    // A name that is nothing but its beginning would tell nothing: "Kick", "Kick In".
    common = std::min(common, words.empty() ? 0 : words.size() - 1);
    common = static_cast<std::size_t>(std::mismatch(words.begin(), words.begin() + static_cast<std::ptrdiff_t>(common), all.front().begin()).first - words.begin());
  }
  std::vector<std::optional<Role>> roles;
  for (auto& words : all) {
    words.erase(words.begin(), words.begin() + static_cast<std::ptrdiff_t>(common));
    roles.push_back(role_by(words));
  }
  return roles;
}

std::vector<int> guess_priorities(const std::vector<std::optional<Role>>& stem_roles) {
  std::vector<int> ranks;
  for (const auto& role : stem_roles) ranks.push_back(rank_of(role.value_or(Role::other)));
  const std::set<int> in_use(ranks.begin(), ranks.end());
  std::vector<int> priorities;
  for (const int rank : ranks) priorities.push_back(1 + static_cast<int>(std::distance(in_use.begin(), in_use.find(rank))));
  return priorities;
}

}  // namespace sendworthy::song
