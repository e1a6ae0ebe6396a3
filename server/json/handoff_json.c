/* handoff_json.c - specimen, provenance and statement of a handoff. */
#include "json/handoff_json.h"

#include "run/version.h"
#include "json/tree.h"
#include "json/writer.h"

#include <stdio.h>
#include <string.h>

static bool finish(struct tree *tree, json_t *object, enum writer_form form, char **text, size_t *size,
                   struct error *err)
{
    bool ok = tree->failed ? error_set(err, ERROR_MACHINE, "memory is out while writing a handoff")
                           : writer_dump(object, form, text, size, err);
    json_decref(object);
    return ok;
}

static void put_said(struct tree *tree, json_t *object, const char *key, const char *text)
{
    if (text && *text)
        tree_put_text(tree, object, key, text);
}

/* Types that IANA has registered; others are told by name. */
static const char *media_type(const char *format)
{
    if (format && strncmp(format, "stl", 3) == 0)
        return "model/stl";
    return format && strcmp(format, "obj") == 0 ? "model/obj" : "application/octet-stream";
}

/* --- specimen.json --- */

static json_t *specimen_context(struct tree *tree)
{
    json_t *context = tree_object(tree);
    tree_put_text(tree, context, "dwc", "http://rs.tdwg.org/dwc/terms/");
    tree_put_text(tree, context, "ac", "http://rs.tdwg.org/ac/terms/");
    tree_put_text(tree, context, "dcterms", "http://purl.org/dc/terms/");
    tree_put_text(tree, context, "xmp", "http://ns.adobe.com/xap/1.0/");
    return context;
}

static json_t *intake_json(struct tree *tree, const struct store_intake *intake)
{
    json_t *object = tree_object(tree);
    tree_put_text(tree, object, "device", intake->device);
    tree_put_text(tree, object, "operator", intake->operator_name);
    tree_put_text(tree, object, "date", intake->date);
    tree_put_text(tree, object, "resolution", intake->resolution);
    tree_put_text(tree, object, "uncertainty", intake->uncertainty);
    return object;
}

/* ac:derivedFrom names the version that this one was made from, by its label where the handoff holds it. */
static json_t *media_json(struct tree *tree, const struct handoff_facts *facts,
                          const struct store_version *version, const char *path)
{
    const struct store_version *reference = &facts->dossier->reference;
    char label[64];
    json_t *object = tree_object(tree);
    snprintf(label, sizeof label, "%s %lld", version->kind, (long long)version->number);
    tree_put_text(tree, object, "dcterms:identifier", label);
    tree_put_text(tree, object, "dcterms:title", version->file_name);
    tree_put_text(tree, object, "dcterms:type", "InteractiveResource");
    tree_put_text(tree, object, "dcterms:format", media_type(version->format));
    put_said(tree, object, "fettle:format", version->format);
    tree_put_text(tree, object, "ac:accessURI", path);
    tree_put_text(tree, object, "ac:hashFunction", "SHA-256");
    tree_put_text(tree, object, "ac:hashValue", version->sha256);
    tree_put_integer(tree, object, "dcterms:extent", (int64_t)version->bytes);
    put_said(tree, object, "ac:comments", version->note);
    put_said(tree, object, "dcterms:creator", version->by);
    tree_put_text(tree, object, "dcterms:available", version->created);
    put_said(tree, object, "ac:captureDevice", version->intake.device);
    put_said(tree, object, "xmp:CreateDate", version->intake.date);
    if (facts->reference_path && version->made_from == reference->id)
        tree_put_text(tree, object, "ac:derivedFrom", facts->reference_path);
    tree_put(tree, object, "fettle:intake", intake_json(tree, &version->intake));
    return object;
}

bool handoff_specimen_text(const struct handoff_facts *facts, char **text, size_t *size, struct error *err)
{
    const struct store_specimen *specimen = &facts->dossier->specimen;
    struct tree tree = {false};
    json_t *object = tree_object(&tree), *context = specimen_context(&tree), *media = tree_array(&tree);
    char id[STORE_NUMBER_MAX + 80];
    snprintf(id, sizeof id, "urn:fettle:%s:%s", facts->fingerprint, specimen->catalogue_number);
    tree_put_text(&tree, context, "fettle", "urn:fettle:");
    tree_put(&tree, object, "@context", context);
    tree_put_text(&tree, object, "@type", "dwc:Occurrence");
    tree_put_text(&tree, object, "dwc:occurrenceID", id);
    tree_put_text(&tree, object, "dwc:catalogNumber", specimen->catalogue_number);
    tree_put_text(&tree, object, "dwc:basisOfRecord", "MaterialEntity");
    tree_put_text(&tree, object, "dcterms:title", specimen->title);
    put_said(&tree, object, "dwc:occurrenceRemarks", specimen->note);
    tree_put_text(&tree, object, "dcterms:modified", specimen->changed);
    tree_put_text(&tree, object, "fettle:units", specimen->units);
    tree_append(&tree, media, media_json(&tree, facts, &facts->dossier->subject, facts->subject_path));
    if (facts->reference_path)
        tree_append(&tree, media,
                    media_json(&tree, facts, &facts->dossier->reference, facts->reference_path));
    tree_put(&tree, object, "dwc:associatedMedia", media);
    return finish(&tree, object, WRITER_PRETTY, text, size, err);
}

/* --- ro-crate-metadata.json --- */

static json_t *reference_to(struct tree *tree, const char *id)
{
    json_t *object = tree_object(tree);
    tree_put_text(tree, object, "@id", id);
    return object;
}

static void put_reference(struct tree *tree, json_t *object, const char *key, const char *id)
{
    tree_put(tree, object, key, reference_to(tree, id));
}

/* A new entity of the graph; type "A B" are two. */
static json_t *entity(struct tree *tree, json_t *graph, const char *id, const char *type)
{
    json_t *object = tree_object(tree);
    const char *blank = strchr(type, ' ');
    tree_put_text(tree, object, "@id", id);
    if (blank) {
        json_t *types = tree_array(tree);
        tree_append(tree, types, json_stringn(type, (size_t)(blank - type)));
        tree_append(tree, types, json_string(blank + 1));
        tree_put(tree, object, "@type", types);
    } else {
        tree_put_text(tree, object, "@type", type);
    }
    tree_append(tree, graph, object);
    return object;
}

/* Persons are told apart by name; the id of one. */
static void person_id(const char *name, char id[STORE_NAME_MAX * 3 + 16])
{
    static const char hex[] = "0123456789ABCDEF";
    char *at = id + sprintf(id, "#person-");
    for (; *name; name++) {
        unsigned char c = (unsigned char)*name;
        if ((c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z')) {
            *at++ = (char)c;
        } else {
            *at++ = '%';
            *at++ = hex[c >> 4];
            *at++ = hex[c & 15];
        }
    }
    *at = '\0';
}

static json_t *find_entity(const json_t *graph, const char *id)
{
    for (size_t i = 0; i < json_array_size(graph); i++) {
        const char *own = json_string_value(json_object_get(json_array_get(graph, i), "@id"));
        if (own && strcmp(own, id) == 0)
            return json_array_get(graph, i);
    }
    return NULL;
}

static void put_agent(struct tree *tree, json_t *graph, json_t *action, const char *name)
{
    char id[STORE_NAME_MAX * 3 + 16];
    if (!name || !*name)
        return;
    person_id(name, id);
    if (!find_entity(graph, id))
        tree_put_text(tree, entity(tree, graph, id, "Person prov:Agent"), "name", name);
    put_reference(tree, action, "agent", id);
    put_reference(tree, action, "prov:wasAssociatedWith", id);
}

static json_t *action(struct tree *tree, json_t *graph, const char *id, const char *name, const char *when,
                      const char *who)
{
    json_t *object = entity(tree, graph, id, "CreateAction prov:Activity");
    tree_put_text(tree, object, "name", name);
    tree_put_text(tree, object, "endTime", when);
    tree_put_text(tree, object, "prov:endedAtTime", when);
    put_agent(tree, graph, object, who);
    return object;
}

/* An action's result, told at both ends. */
static void put_result(struct tree *tree, json_t *graph, json_t *made, const char *path)
{
    json_t *file = find_entity(graph, path);
    put_reference(tree, made, "result", path);
    if (file)
        put_reference(tree, file, "prov:wasGeneratedBy", json_string_value(json_object_get(made, "@id")));
}

static void put_objects(struct tree *tree, json_t *made, const char *const *paths, size_t count)
{
    json_t *objects = tree_array(tree), *used = tree_array(tree);
    for (size_t i = 0; i < count; i++)
        if (paths[i]) {
            tree_append(tree, objects, reference_to(tree, paths[i]));
            tree_append(tree, used, reference_to(tree, paths[i]));
        }
    tree_put(tree, made, "object", objects);
    tree_put(tree, made, "prov:used", used);
}

static const char *below_data(const char *path)
{
    return path && strncmp(path, "data/", 5) == 0 ? path + 5 : path;
}

static void add_files(struct tree *tree, json_t *graph, json_t *parts, const struct handoff_file *files,
                      size_t count)
{
    for (size_t i = 0; i < count; i++) {
        json_t *file = entity(tree, graph, below_data(files[i].path), "File prov:Entity");
        tree_put_text(tree, file, "name", below_data(files[i].path));
        tree_put_integer(tree, file, "contentSize", (int64_t)files[i].bytes);
        tree_put_text(tree, file, "sha256", files[i].sha256);
        tree_append(tree, parts, reference_to(tree, below_data(files[i].path)));
    }
}

static void add_version(struct tree *tree, json_t *graph, const struct handoff_facts *facts,
                        const struct store_version *version, const char *path)
{
    const struct store_version *reference = &facts->dossier->reference;
    char id[64], name[120];
    snprintf(id, sizeof id, "#made-%s-%lld", version->kind, (long long)version->number);
    snprintf(name, sizeof name, "%s %lld was made and added", version->kind, (long long)version->number);
    json_t *made = action(tree, graph, id, name, version->created, version->by);
    put_said(tree, made, "description", version->note);
    put_result(tree, graph, made, below_data(path));
    if (version != reference && facts->reference_path && version->made_from == reference->id) {
        const char *const from[] = {below_data(facts->reference_path)};
        put_objects(tree, made, from, 1);
        json_t *file = find_entity(graph, below_data(path));
        if (file)
            put_reference(tree, file, "prov:wasDerivedFrom", from[0]);
    }
}

/* The engine that made the record, as the store has it; the one that makes the handoff may be newer. */
static void add_engine(struct tree *tree, json_t *graph, const struct store_run *run)
{
    json_t *engine = entity(tree, graph, "#engine", "SoftwareApplication prov:SoftwareAgent");
    char version[160];
    snprintf(version, sizeof version, "%s, definitions %d", run->engine_version, run->definitions);
    tree_put_text(tree, engine, "name", "fettle");
    tree_put_text(tree, engine, "softwareVersion", version);
}

static void add_actions(struct tree *tree, json_t *graph, const struct handoff_facts *facts)
{
    const struct store_dossier *dossier = facts->dossier;
    const char *const measured[] = {below_data(facts->subject_path), below_data(facts->reference_path)};
    const char *const judged[] = {"record.json", "spec.json"};
    const char *const signed_off[] = {"audit.json"};
    json_t *made = action(tree, graph, "#measured", "The files were measured", dossier->run.created, NULL);
    put_reference(tree, made, "instrument", "#engine");
    put_objects(tree, made, measured, 2);
    put_result(tree, graph, made, "record.json");
    made = action(tree, graph, "#judged", "The record was judged by the spec", dossier->audit.created, NULL);
    put_reference(tree, made, "instrument", "#engine");
    put_objects(tree, made, judged, 2);
    put_result(tree, graph, made, "audit.json");
    for (size_t i = 0; i < facts->signoffs->count; i++) {
        const struct store_signoff *signoff = &facts->signoffs->items[i];
        char id[32], path[64];
        snprintf(id, sizeof id, "#signed-%zu", i + 1);
        snprintf(path, sizeof path, "sign-offs/%zu.statement.json", i + 1);
        made = action(tree, graph, id, "The audit was signed off", signoff->created, signoff->signer);
        put_objects(tree, made, signed_off, 1);
        put_result(tree, graph, made, path);
    }
}

static json_t *crate_context(struct tree *tree)
{
    json_t *context = tree_array(tree), *more = tree_object(tree);
    tree_put_text(tree, more, "prov", "http://www.w3.org/ns/prov#");
    tree_append(tree, context, json_string("https://w3id.org/ro/crate/1.1/context"));
    tree_append(tree, context, more);
    return context;
}

static json_t *add_root(struct tree *tree, json_t *graph, const struct handoff_facts *facts)
{
    const struct store_specimen *specimen = &facts->dossier->specimen;
    json_t *descriptor = entity(tree, graph, "ro-crate-metadata.json", "CreativeWork");
    put_reference(tree, descriptor, "conformsTo", "https://w3id.org/ro/crate/1.1");
    put_reference(tree, descriptor, "about", "./");
    json_t *root = entity(tree, graph, "./", "Dataset");
    char name[STORE_NUMBER_MAX + STORE_TITLE_MAX + 8];
    snprintf(name, sizeof name, "%s: %s", specimen->catalogue_number, specimen->title);
    tree_put_text(tree, root, "name", name);
    tree_put_text(
        tree, root, "description",
        "A digitised specimen as handed over: the files, what was measured of them, the spec it was "
        "judged by, the outcome, and who signed it off.");
    tree_put_text(tree, root, "identifier", facts->name);
    tree_put_text(tree, root, "datePublished", facts->time);
    put_reference(tree, root, "license", "#licence");
    json_t *licence = entity(tree, graph, "#licence", "CreativeWork");
    tree_put_text(tree, licence, "name", "No licence is stated; ask whoever handed it over");
    return root;
}

bool handoff_crate_text(const struct handoff_facts *facts, const struct handoff_file *files, size_t count,
                        char **text, size_t *size, struct error *err)
{
    struct tree tree = {false};
    json_t *object = tree_object(&tree), *graph = tree_array(&tree), *parts = tree_array(&tree);
    json_t *root = add_root(&tree, graph, facts);
    add_files(&tree, graph, parts, files, count);
    tree_put(&tree, root, "hasPart", parts);
    add_engine(&tree, graph, &facts->dossier->run);
    add_version(&tree, graph, facts, &facts->dossier->subject, facts->subject_path);
    if (facts->reference_path)
        add_version(&tree, graph, facts, &facts->dossier->reference, facts->reference_path);
    add_actions(&tree, graph, facts);
    put_agent(&tree, graph, root, facts->by);
    tree_put(&tree, object, "@context", crate_context(&tree));
    tree_put(&tree, object, "@graph", graph);
    return finish(&tree, object, WRITER_PRETTY, text, size, err);
}

/* --- handoff.statement.json --- */

static json_t *digests_json(struct tree *tree, const struct handoff_file *files, size_t count)
{
    json_t *object = tree_object(tree);
    for (size_t i = 0; i < count; i++) {
        json_t *both = tree_object(tree);
        tree_put_text(tree, both, "sha256", files[i].sha256);
        tree_put_text(tree, both, "sha512", files[i].sha512);
        tree_put(tree, object, files[i].path, both);
    }
    return object;
}

static json_t *sign_offs_json(struct tree *tree, const struct store_signoff_list *signoffs)
{
    json_t *list = tree_array(tree);
    for (size_t i = 0; i < signoffs->count; i++) {
        json_t *object = tree_object(tree);
        tree_put_text(tree, object, "signer", signoffs->items[i].signer);
        tree_put_text(tree, object, "statement_sha256", signoffs->items[i].sha256);
        tree_append(tree, list, object);
    }
    return list;
}

bool handoff_statement_text(const struct handoff_facts *facts, const struct handoff_file *files, size_t count,
                            char **text, size_t *size, struct error *err)
{
    const struct store_dossier *dossier = facts->dossier;
    struct tree tree = {false};
    json_t *object = tree_object(&tree), *audit = tree_object(&tree), *specimen = tree_object(&tree);
    tree_put_text(&tree, object, "schema", "fettle/handoff/1");
    tree_put_text(&tree, object, "name", facts->name);
    tree_put_text(&tree, object, "time", facts->time);
    tree_put_text(&tree, object, "by", facts->by);
    tree_put_text(&tree, specimen, "catalogue_number", dossier->specimen.catalogue_number);
    tree_put_text(&tree, specimen, "title", dossier->specimen.title);
    tree_put(&tree, object, "specimen", specimen);
    tree_put_text(&tree, audit, "outcome", dossier->audit.outcome);
    tree_put_text(&tree, audit, "sha256", dossier->audit.sha256);
    tree_put_text(&tree, audit, "spec_sha256", dossier->spec.sha256);
    tree_put_text(&tree, audit, "time", dossier->audit.created);
    tree_put(&tree, object, "audit", audit);
    tree_put_text(&tree, object, "subject", facts->subject_path);
    tree_put_text(&tree, object, "reference", facts->reference_path);
    tree_put(&tree, object, "sign_offs", sign_offs_json(&tree, facts->signoffs));
    tree_put(&tree, object, "tag_files", digests_json(&tree, files, count));
    return finish(&tree, object, WRITER_CANONICAL, text, size, err);
}
